"""A passage that is recorded behind a start mark, and found again in its replay."""
