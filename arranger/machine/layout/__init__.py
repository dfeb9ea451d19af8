"""Song data as a routine of the musician's own reads them: ``[export]`` of its engine's file.

data_plan    What is written in which order: a sheet as records, with what their fields say
encode       Records as bytes, with a check of everything that a routine couldn't read
data_source  Those bytes as assembler text or as C
map          What was written, in words

`arranger.engine.layout` says what such a table can ask for.
"""
