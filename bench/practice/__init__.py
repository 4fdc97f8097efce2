"""The practice machine: a physical model of a recorder with trimmers and faults."""
