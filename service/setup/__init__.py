"""The coordinator's configuration folder: read, judge, compare, write back."""
