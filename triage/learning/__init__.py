"""Learning from what arrived: what was bought and found is recorded, held against what was believed, and fitted to."""
