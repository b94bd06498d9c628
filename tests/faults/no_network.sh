#!/usr/bin/env bash
# A whole night without a network interface, and every connect() it makes: none may leave the machine.
# Usage: tests/faults/no_network.sh [FEEDS]. Needs unshare and strace.
set -euo pipefail
cd "$(dirname "$0")/../.."
feeds=${1:-demo_feeds}
place=$(mktemp -d)
trap 'rm -rf "$place"' EXIT
python=${PYTHON:-python}
night=("$python" -m triage.cli nightly "$feeds" --as-of 2026-11-25 --store "$place/t.duckdb" --out "$place/reports")
unshare -rn "${night[@]}" >"$place/alone"
echo "without an interface: $(tail -1 "$place/alone" | sed "s|$place/||")"
rm -rf "$place"/t.duckdb* "$place/reports"
strace -f -qq -e trace=connect,sendto,sendmsg -o "$place/calls" "${night[@]}" >"$place/watched"
# AF_UNIX stays on the machine (name service daemons); anything else is a fault. An invented call shows the trace works.
strace -f -qq -e trace=connect -o "$place/probe" "$python" -c \
  "import socket; socket.socket(socket.AF_INET, socket.SOCK_DGRAM).connect(('127.0.0.1', 9))"
grep -q AF_INET "$place/probe" || { echo "the trace sees nothing"; exit 1; }
outside=$(grep -E 'connect\(|AF_INET' "$place/calls" | grep -vc 'AF_UNIX' || true)
echo "connect() beyond AF_UNIX: $outside"
[ "$outside" -eq 0 ]
