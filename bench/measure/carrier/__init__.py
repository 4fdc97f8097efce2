"""The frequency of a carrier over time: deviation, flutter and its components."""
