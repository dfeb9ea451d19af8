"""Songs converted in processes of their own, here or on a cluster.

apart    A song converted in a process of its own, which may hang, be killed or die
cluster  The same jobs on the workers of a Dask cluster
line     The songs that wait, served from both ends
pool     Many jobs on workers, so that a song that kills its worker costs only itself
work     One song from file to files, in a worker process and its limits: whatever happens
worker   The process that converts songs, one after the other
"""
