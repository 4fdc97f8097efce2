"""From files to a job: reading, checking, and every problem of a file at once."""
