"""The report for the delivery packet: one document, as PDF or as HTML."""
