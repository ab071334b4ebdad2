"""Figures that stand up: counts of checks, proportions, rates and times, each with an interval and what it is of.

`proportions`, `rates` and `survival` are formulas; `tally` counts results; `lost` counts school minutes;
`steps` says where a chain is too slow; `hiding` keeps small numbers from leaving the district.
"""
