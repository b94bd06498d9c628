"""One small reader a format; each tells which files are its own and yields their rows as text."""
