"""Spares on the shelf before they run out: what there is, how fast it goes, when to order and how much.

`items` says what is kept apart, `cells` and `life` how long a cell lasts, `demand` how many will be used, `shelf`
when a shelf is empty and what to order, `expiry` what goes bad first, `low` when to say so.
"""
