"""A sheet as a score, as an engraver would write it.

=======================  =========================================================================
measures                 bars of the sheet, pickups, where it goes back to, metres that are told
metre, values, tuplets   how strong each place of a bar is · lengths as note values · triplets
bars, beams              a row of the sheet as bars of values · what hangs together
key, spelling, clefs     found from the tones · names and accidentals · by range
drums                    places, noteheads and percussion keys of drum sounds
parts                    all of that put together, part by part
notes, signs, musicxml   elements of MusicXML · what stands beside notes · the file
engrave, page, pdf       the score on pages · an engraved page as plain SVG · and as PDF
=======================  =========================================================================
"""
