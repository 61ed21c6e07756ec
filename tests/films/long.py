"""A long film out of a short one: its packets repeated with shifted time stamps; nothing is encoded."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import av


def repeat(short: Path, path: Path, times: int) -> float:
    """Write a film that shows a short one so many times over; return how long one showing takes [s].

    The short one begins with a key picture and shows its pictures in the order in which they are stored.
    """
    with av.open(str(short)) as source:
        stream = source.streams.video[0]
        packets = [one for one in source.demux(stream) if one.size]
        step = round(1 / (stream.average_rate * stream.time_base))
        first = min(int(one.pts) for one in packets)
        length = max(int(one.pts) for one in packets) + step - first
        with av.open(str(path), "w") as target:
            copied: Any = target.add_stream_from_template(stream)
            for time in range(times):
                for one in packets:
                    again: Any = av.Packet(bytes(one))
                    again.stream, again.is_keyframe, again.time_base = copied, one.is_keyframe, one.time_base
                    again.pts, again.dts = one.pts - first + time * length, one.dts - first + time * length
                    again.duration = one.duration
                    target.mux(again)
        return float(length * stream.time_base)
