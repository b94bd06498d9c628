"""How the store is kept: its lock, its version, its copies, and what to do when it is damaged."""
