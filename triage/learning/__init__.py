"""Learning from what arrived: what was bought and found is recorded, and held against what was believed on the day."""
