"""Which kinds of capture there are, what becomes of one, and the condition list of check-in."""

KINDS = {
    "slipper_plaster": "slipper cast, plaster",
    "slipper_fibreglass": "slipper cast, fibreglass",
    "foam": "foam impression",
    "scan": "scan (mesh file)",
}
STATES = {
    "expected": "expected",
    "arrived": "arrived",
    "accepted": "accepted",
    "refused": "refused",
    "used_up": "used up",
    "void": "void",
}
CONDITIONS = {
    "whole": "whole, no cracks or soft spots",
    "side_marked": "marked with its side",
    "label_matches": "label matches the order",
    "heel_clear": "heel and arch are clearly shaped",
    "neutral": "forefoot and rearfoot look as ordered",
    "cleaned": "cleaned",
}
"""What is looked at when a capture is accepted; the answers are kept with it."""
