"""The parser of the narration check, one step of the way to a module.

`ties` weighs what stands between a claim and a note; `state` is one understanding of the words so far, `waiting` takes
it past words that are no claim; `notes`, `form`, `claims` and `runs` take it past one atom each; `walk` keeps the best
few understandings; `afterthoughts` looks back over the best one; `values` tells what an atom claims.
"""
