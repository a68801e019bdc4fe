"""The debrief: one record made into a page, a PDF, CSV and JSON."""
