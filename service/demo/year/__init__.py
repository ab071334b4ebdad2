"""A school year of an invented district, lived through the real engine on a stepped clock (`bellcheck demo-year`).

`calendar` the year's dates · `places` the district · `habits` how people and devices are, as numbers · `troubles` what
was planted · `nature` what is true of a child on a day and what an adult does, all from one seed · `people` what is
typed · `living` the year itself · `folder` what it leaves behind. Calendar to nature are pure.
"""
