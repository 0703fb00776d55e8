"""Spreadsheets of fits, read without guessing: files into cells, columns into fields, rows into the forms of the app.

It takes bytes, and knows no clock, file, setting or table. What a file does not say is asked once for the file or once
for the row.
"""
