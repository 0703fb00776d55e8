"""The card that travels: what it holds, its bytes, its signature, its code and its words.

Pure, as `calculation` and `measures` are: no clock, file, setting or table. `open_card` is the only way in and
`seal_card` the only way out; `templates/help/card.md` documents the format to the byte.
"""
