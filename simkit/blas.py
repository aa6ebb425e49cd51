"""One thread for the library of linear algebra that NumPy brings.

Its matrices here are three by three: a second thread waits for work that never comes, and takes a core while
it does.  Kernels have their own threads.  Only the processes that are ours are told so: the command line and
its workers, not a program that imports simkit.
"""

# What NumPy's wheels are built with on the three systems.
ONE_THREAD = dict.fromkeys(("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"), "1")
