"""Review and edit in one place: the page of a sheet, live on this machine.

==========  ===================================================================================
edits       edits as functions: Sheet -> Sheet; one bar as the program would write it otherwise
asks        what the page asks for, as edits: checked, with what is refused in words
lost_notes  notes that aren't heard: where they could go, and what that would displace
joining     an edit of the page and a change of the file at the same time
live        one sheet, watched: its versions, waiting for them, edits written
answers     what a request is answered: pages, data, edits; the list of a folder's sheets
guard       who may ask: host, origin, secret, size
server      the server on the loopback
==========  ===================================================================================
"""
