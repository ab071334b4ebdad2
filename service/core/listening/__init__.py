"""The listening check and a child who slips: what was answered, what is usual, and when it is worth a look.

`sets` which sounds there are · `answers` one check · `chance` what guessing would score · `usual` the child's own
baseline · `runlength` and `design` how much it takes to speak up, for a stated number of false alarms ·
`slipping` the watch over a child's checks · `worth` what is said of it · `contradicted` answers that others
found otherwise. Nothing here diagnoses: a change is "worth looking at", the audiologist judges.
"""
