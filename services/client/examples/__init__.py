"""Programs of a few lines, to run and to begin from: each reads BLANKWRIGHT_URL and BLANKWRIGHT_KEY."""
