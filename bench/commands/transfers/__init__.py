"""What `decode` and `encode` share: their options, the files, and how the end is said."""
