"""Measures as people of the trade write them: text in, exact numbers or a question out, and back again.

Pure like `app.calculation`. Every form and the API's text fields read through here, so a spelling that is
accepted, asked about or refused is so everywhere. Nothing here raises: a reading carries its own refusal.
"""
