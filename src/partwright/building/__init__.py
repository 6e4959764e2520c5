"""A lesson's products as incremental steps: each made anew only where what it is made from has changed."""
