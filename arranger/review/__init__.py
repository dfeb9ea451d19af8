"""Review and edit in one place: the page of a sheet, live on this machine.

============  ==============================================================================
edits         edits as functions: Sheet -> Sheet
asks          what the page asks for, as edits: checked, with what is refused in words
lost          notes that aren't heard: where they could go, and what that would displace
texture       one bar as the program would write it under another texture
joining       an edit of the page and a change of the file at the same time
live          one sheet, watched: its versions, waiting for them, edits written
answers       what a request is answered: pages, data, edits
contents      the small pages: a folder's sheets, why one can't be shown
guard         who may ask: host, origin, secret, size
server        the server on the loopback
============  ==============================================================================
"""
