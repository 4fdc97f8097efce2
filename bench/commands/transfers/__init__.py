"""What `decode` and `encode` share: options, files, and the description of the result."""
