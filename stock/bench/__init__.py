"""What `manage.py bench` measures: one file a benchmark, each against its reference in the same run."""
