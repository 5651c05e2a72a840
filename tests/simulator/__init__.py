"""Turtle ponds animal by animal, for tests and studies; it shares no code with the product it tries.

`rates` draws what a farm is like, `farm` lets it live month by month and keeps the books its people would keep,
`catch` draws the seine. Everything random comes from one `numpy.random.Generator`: a seed gives the same farm.
"""
