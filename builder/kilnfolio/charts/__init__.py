"""Charts as SVG: real text, colours by class, a title and a description.

Modules
-------
axes    panels, axes, lines and labels: the toolkit of every chart
emc     EMC against relative humidity
paper   drawings with the style sheet's rules embedded, for PDFs
"""
