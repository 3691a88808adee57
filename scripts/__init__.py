"""The commands of ``bracedtop``, one module a job."""
