"""Parses measures as people of the trade write them, and formats exact numbers in the same spellings.

Pure like `app.calculation`. Every form and the API's text fields are read here, so that a spelling is accepted, asked
about or refused everywhere alike. The `read_` functions never raise: a `Reading` carries its question or its error.
"""
