# The demo book, scripts, completions.
