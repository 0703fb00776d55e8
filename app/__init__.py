"""Spanbook: fit records of a bowling pro shop, and the geometry behind them."""

import gc

# most objects live as long as the process: looking through them less often is a fifth of the time a start takes
gc.set_threshold(20_000, 20, 20)
