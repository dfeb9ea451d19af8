"""What is asked of a songbook: which songs, where they lie, with what settings.

which_songs  What is asked of a songbook: which songs, how, and with what settings each
find         Finds the songs that are asked for and gives each the place where its files will go
job          One song to convert: what a worker is handed
archives     Songs in a ZIP: found by its directory, read where they lie, never unpacked
settings     ``songbook.toml``: settings for all songs of a folder, and for some of them
"""
