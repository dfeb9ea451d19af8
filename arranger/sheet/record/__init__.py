"""What a sheet knows of how it was generated, so that edits are recognised.

digest        of bars, of the sheet: whether a hand has changed it
packed_sheet  the record: the generated sheet itself, packed into a few lines
base          what was generated, beneath an edited sheet
align         which bar of the edited sheet is which bar of it
against       the song's numbers of bars; rows that a hand changed
"""
