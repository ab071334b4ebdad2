"""What is worth looking at in a year's record: silences, cells, types, contacts and answers that stand out.

`evidence` how unlikely a difference is by chance · `looks` when is looked and how often that may be wrong · `changes`
now against before · `others` one against the rest · `contacts` who never answers. Every kind is looked for once a week
over all schools, and speaks falsely at most `looks.BUDGET` times a year in a whole district, where what is counted
comes independently. A finding is numbers, never a cause; nothing here ranks adults.
"""
