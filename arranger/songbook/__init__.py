"""The songbook: many songs converted together, resumable, with nothing lost.

advice      ``songbook.toml`` with what the program would advise for each song
asked       What is asked of a songbook: which songs, where they lie, with what settings
book        A whole songbook: find, skip what is done, convert the rest, sum up
known       What is known of songs: their records, why they were converted, the index, digests of the program
planned     What a run will do, and why, before it does it
progress    How far a run has come, and how long it will take yet
shown       What a songbook shows: the worklist in page, terminal and files
summing_up  What the terminal says after a songbook: counters and wording
telling     What a run tells while it goes on: progress, and an overview that can be used
working     Songs converted in processes of their own, here or on a cluster
"""

from arranger.songbook.asked.which_songs import BookChoice
from arranger.songbook.book import BookResult, convert_book
from arranger.songbook.known.song_record import REASON_CODES, SongRecord
from arranger.songbook.planned.song_plan import plan_book
from arranger.songbook.working.pool import core_count

__all__ = [
    "REASON_CODES", "BookChoice", "BookResult", "SongRecord", "convert_book", "core_count",
    "plan_book",
]  # fmt: skip
