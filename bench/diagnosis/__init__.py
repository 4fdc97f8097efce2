"""What is wrong with a machine, how sure that is, and which test tells more: from readings alone."""
