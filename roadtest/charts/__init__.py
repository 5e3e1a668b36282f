"""What is drawn, as plain data, and its drawer for paper."""
