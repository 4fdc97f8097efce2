"""Music and speech instead of tones: what a tape without tones still shows."""
