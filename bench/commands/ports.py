"""`tapebench ports`: the sound devices, or why there are none."""

from __future__ import annotations

import argparse
import json

from bench.audio.devices import NO_DEVICE, Device
from bench.audio.standard_error import stderr_silenced
from bench.problem import Problem


def add(parser: argparse.ArgumentParser) -> None:
    """The options."""
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def run(args: argparse.Namespace) -> int:
    """List the devices; exit 0 even if there are none."""
    listed, reason = _devices()
    if args.json:
        print(json.dumps({"devices": [d.as_json() for d in listed], "reason": reason}, ensure_ascii=False))
    elif reason is not None:
        print(reason)
    else:
        for device in listed:
            print(_line(device))
    return 0


def _devices() -> tuple[tuple[Device, ...], str | None]:
    from bench.audio.portaudio import devices

    try:
        with stderr_silenced():
            listed = devices()
    except Problem as problem:
        return (), problem.sentence
    return listed, None if listed else NO_DEVICE


def _line(device: Device) -> str:
    chosen = [word for word, is_it in (("in", device.default_input), ("out", device.default_output)) if is_it]
    usual = f", default {' and '.join(chosen)}" if chosen else ""
    channels = f"{device.inputs} in, {device.outputs} out"
    return f"{device.name}: {channels}, {device.sample_rate} Hz by default, {device.system}{usual}"
