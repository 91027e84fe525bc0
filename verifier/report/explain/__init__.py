"""Pages of `explain` as text, as one self-contained page, and as a manual page: pure."""
