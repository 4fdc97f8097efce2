"""Explains the physics of each cause in about three sentences, for the page about it."""

from __future__ import annotations

PHYSICS: dict[str, str] = {
    "dirt-replay-head": (
        "A film keeps the tape off the replay gap. Replay loses 54.6 dB for each wavelength of distance, so the "
        "loss in dB grows in proportion to frequency. Hiss comes off the same tape and is duller too."
    ),
    "dirt-record-head": (
        "A film keeps the tape off the record gap. The field weakens and spreads with distance, and recordings "
        "lose about 44 dB for each wavelength. A reference tape and the hiss of the tape are as usual."
    ),
    "dirt-left-after-cleaning": (
        "Oxide in the gap or a film that the solvent did not lift still spaces the tape. The loss is again a "
        "straight line in dB over frequency. It stays after cleaning, in the reference tape and in recordings."
    ),
    "worn-replay-gap": (
        "As the head face wears down the gap opens. The gap averages over its own length: the loss is |sin x / x| "
        "with x = π·gap/wavelength. It grows ever faster towards the top, alike in both channels, with no delay."
    ),
    "worn-contour": (
        "A face worn hollow, a leaning head or a weak pad presses the tape unevenly. Contact comes and goes, so "
        "treble is low and unsteady and drops out. The face's edges read long wavelengths too, so the low end "
        "moves."
    ),
    "head-height": (
        "The head reads only part of the track. Both channels are low by 20 lg of the share that is read. Once "
        "the head reaches beyond the guard band, the other track is heard."
    ),
    "head-bump": (
        "At wavelengths near the length of the head's face its edges pick up flux as well. It adds and cancels by "
        "turns, so the low end ripples. The shape belongs to head and speed, and no trimmer moves it."
    ),
    "magnetised-head": (
        "A steady field in a head adds to what is recorded or replayed. Noise rises and the second harmonic "
        "appears. Short wavelengths are wiped a little on every pass."
    ),
    "dirty-erase-head": (
        "A film weakens the erasing field in the tape. Part of the old recording stays. This ends with "
        "cleaning, which rules out a weak erase current."
    ),
    "weak-erasure": (
        "The erasing field does not saturate the tape. Part of the old recording stays, cleaning or not. A head, "
        "its current, or a tape harder than the head was made for can be the reason."
    ),
    "equalisation-switch": (
        "Replay equalisation turns over at another time constant. The error is a shelf: nothing below the first "
        "corner, 20 lg of the ratio of time constants above the second. Both channels have exactly the same."
    ),
    "output-control": (
        "The output control is behind everything else. The reference tape and the source are high or low by the same "
        "in both channels, and noise and hum with them. Recordings still equal the source."
    ),
    "dried-capacitor": (
        "A coupling capacitor that lost its value makes a high-pass filter. The low end of one channel falls by 6 "
        "dB an octave below the corner. The reference tape tells whether it is on the replay side."
    ),
    "amplifier-noise": (
        "A noisy transistor or resistor adds hiss behind the head. It does not come from the tape, so it stays "
        "with the tape stopped. Level and response are right."
    ),
    "hum": (
        "Mains frequency comes in through a broken screen or an earth loop; twice that comes from the rectifier. "
        "Lines stand at 50 or 60 Hz and their multiples. A loop is gone when the other mains lead is out."
    ),
    "leaky-record-capacitor": (
        "A leaky capacitor sends direct current through the record head. The field is no longer symmetrical, so "
        "recordings have a second harmonic. Demagnetising does not help for long."
    ),
    "poor-separation": (
        "One channel couples into the other in head, leads or supply. The leak is the same at all tones and both "
        "ways. Height would leak one way, and from tape only."
    ),
    "weak-oscillator": (
        "One oscillator feeds bias and erase heads. When it weakens, recordings are under-biased, bright and "
        "distorted in both channels. Old recordings remain at the same time."
    ),
    "limiter-left-in": (
        "The limiter turns loud tones down. Levels at 0 dB read low and those at −20 dB are right. Maximum level "
        "can't be reached."
    ),
    "noise-reduction-left-in": (
        "With the encoder in alone, recordings are bright, more so at −40 dB than at 0 dB. With the decoder in as well "
        "they are right, but the reference tape is dull and hiss is 9 dB lower."
    ),
    "pilot-filter-left-in": (
        "A low-pass filter for the 19 kHz pilot tone is in the way. The top falls steeply above about 12 kHz. "
        "Bias and equalisation fall gently."
    ),
    "input-clipping": (
        "Something ahead of the tape runs out of level. Odd harmonics rise at once and not with the square of "
        "level. Bias has no effect on them."
    ),
    "encoder": (
        "The side path that lifts soft treble has the wrong gain or reference. Its encoding curve leaves the data "
        "sheet. Recordings mistrack on every machine, and tapes from elsewhere play right."
    ),
    "decoder": (
        "The side path that takes soft treble off has the wrong gain or reference. Its decoding curve leaves the "
        "data sheet. Every encoded tape mistracks here, whoever recorded it."
    ),
    "tape-selector": (
        "Bias and record equalisation are set for another type. Too much bias makes recordings dull and a little "
        "low; too little makes them bright and distorted. Both channels are out by the same."
    ),
    "tape-of-another-type": (
        "The tape wants another bias and has another sensitivity. Level, treble, maximum level and hiss all move "
        "together. The reference tape is right, and so is the machine on its own tape."
    ),
    "aged-reference-tape": (
        "Every pass wears and demagnetises short wavelengths a little. The reference tape then reads low at the "
        "top in both channels. Recordings made and played here are right."
    ),
    "reference-tape-of-another-kind": (
        "Reference tapes are made to several fluxes, by two measuring methods and to several equalisations. The wrong "
        "flux moves both channels by the same known step, the wrong equalisation by the same shelf. Recordings made "
        "and played here are as they were."
    ),
    "gap-scatter": (
        "The gaps of the two channels do not lie in one line. The delay is then not zero where each channel has its "
        "peak. No azimuth is right for both, and each channel alone loses nothing."
    ),
    "pinch-roller": (
        "A hollow, hard or eccentric roller pulls unevenly once a turn. Flutter has a line at its rate, and the "
        "tape is steered sideways, so azimuth weaves. The rate does not change along the tape."
    ),
    "capstan": (
        "A bent or dirty shaft moves the tape faster and slower once a turn. Flutter has a line at the capstan's "
        "rate. The delay between channels is steady."
    ),
    "reel": (
        "A reel or hub that binds pulls at the tape once a turn. Wow has a line at the reel's rate. That rate "
        "moves as the pack grows, and no other part's does."
    ),
    "idler": (
        "A flat or worn idler drives unevenly once a turn. Flutter has a line at its rate. It often changes when "
        "the idler is cleaned."
    ),
    "belt": (
        "A slack or glazed belt slips. Speed drifts slowly and flutter is rough. There may be a line at the rate "
        "at which the belt comes round."
    ),
    "tension": (
        "Too little tension, a worn guide or a bad pad lets the tape wander. Azimuth weaves and level drops out. "
        "There is no line in flutter."
    ),
    "motor-speed": (
        "The regulator or motor is beyond the range of its trimmer. All tones are off by the same percentage. "
        "Flutter may be as usual."
    ),
    "wrong-mains-frequency": (
        "A synchronous motor turns with the mains. On 60 Hz instead of 50 it runs 20 % fast, and on 50 instead of "
        "60 17 % slow. No trimmer has that range."
    ),
    "wrong-speed-tape": (
        "Speed tapes are recorded at 3000 or at 3150 Hz. Mistaking one for the other gives 5 %. Musical pitch "
        "is right all the time."
    ),
    "dead-channel": (
        "A lead, plug, head winding or amplifier is open. One channel has no level, or only what leaks into it. "
        "Changing the leads over shows on which side the break is."
    ),
    "inverted-channel": (
        "A lead or a head is connected the wrong way round. The delay is half a period at every tone, and the sum "
        "of both channels cancels. Each channel alone is right."
    ),
    "swapped-channels": (
        "Left and right are crossed somewhere. What is sent left comes back right. Level, response and noise are right."
    ),
    "monitor-at-source": (
        "The monitor shows what goes in and not what comes off the tape. Everything is too good: no delay, no "
        "hiss, no distortion. Nothing was measured of the tape."
    ),
}
"""By name of the cause. Common practice; figures as in `bench.tape` and `bench.diagnosis.tones`."""
