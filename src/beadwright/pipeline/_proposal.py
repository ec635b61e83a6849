"""What would bring a layer's interlayer temperature into its window: a layer time, a feed, more or fewer beads."""

from __future__ import annotations

from beadwright.pipeline._build import LayerBuild
from beadwright.pipeline._cards import Cards
from beadwright.process import WallModel, Window, layer_time_for

# Times shorter than this are those of a speck, s: the wall model wants a time above 0.
LEAST_WAIT = 0.1


def proposal(cards: Cards, wall: WallModel, window: Window, layer: LayerBuild) -> dict[str, float]:
    """A layer time in the middle of the window, the feed that gives it, and how many times the beads would.

    The wished window where the card holds one. Nothing where no time reaches it, and no feed that machine or screw
    cannot give.
    """
    wished = cards.wished or window
    target = (wished.least + wished.greatest) / 2
    time = layer_time_for(wall, height=layer.height, thickness=layer.thickness, target=target)
    if time is None:
        return {}
    told = {"layer": float(layer.index), "layer_time_s": time, "interlayer_c": target}
    left = time - layer.times.traverse
    told["beads_factor"] = time / max(layer.times.total - layer.times.dwell, LEAST_WAIT)
    if left > 0 and layer.times.extruding > 0:
        # Ramps keep their share: time along beads goes nearly as 1 / feed.
        feed = layer.pace.feed * layer.times.extruding / left
        low, high = cards.feeds(layer.sections)
        if low <= feed <= high:
            told["feed_mm_s"] = feed
    return told


def advice(made: dict[str, float]) -> str:
    """A proposal in words."""
    if not made:
        return "; no layer time between a second and two hours mends it: change the bead, the room or the material"
    time, factor = made["layer_time_s"], made["beads_factor"]
    text = f"; about {time:.0f} s a layer would leave {made['interlayer_c']:.0f} degC there"
    ways = []
    if "feed_mm_s" in made:
        ways.append(f"a feed of {made['feed_mm_s']:.1f} mm/s")
    if factor > 1:
        ways.append(f"{factor:.1f} times the length of bead in turn, as of several parts")
    else:
        ways.append(f"{factor:.2f} times the length of bead in a layer, so fewer parts, or wider beads")
    return text + ": " + ", or ".join(ways)
