"""One module per kind of log; telling the kind by content."""
