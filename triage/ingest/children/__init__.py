"""Programs run apart, each on one file; they import nothing of this package."""
