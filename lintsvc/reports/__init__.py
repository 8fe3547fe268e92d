"""Reports for people and for machines: each format one module, from a `Report` and nothing else.

Pictures and highlights also need the part's geometry; they take a `Part`.
"""
