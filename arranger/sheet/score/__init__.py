"""A sheet as a score, as an engraver would write it.

======================  ===========================================================================
measures                bars of the sheet, pickups, where it goes back to; how strong each place is
note_values             lengths as note values, triplets
score_bars              a row of the sheet as bars of values, what hangs together
key, spelling, clefs    found from the tones · names and accidentals · by range
drums                   places, noteheads and percussion keys of drum sounds
parts                   all of that put together, part by part
elements, musicxml      elements of MusicXML · the file
engrave, svg_page, pdf  the score on pages · an engraved page as plain SVG · and as PDF
======================  ===========================================================================
"""
