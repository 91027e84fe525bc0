"""What only a soak tells, by prefix of the check.

Findings rest on the blocks, which stand in the evidence's part `samples`; an observation of the
laptop says how the soak went. An unfinished journal is judged when it is read.
"""
