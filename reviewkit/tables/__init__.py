"""Small files: opening them, their headings, CSV, spreadsheets, times typed by hand."""
