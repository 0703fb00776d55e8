"""An invented shop with invented bowlers, filled through the services as staff would fill it."""

from seed_demo.world import PASSWORD, PIN, fill

__all__ = ["PASSWORD", "PIN", "fill"]
