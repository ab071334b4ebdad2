"""The pure heart: values in, values out; no clock, database, network or framework."""
