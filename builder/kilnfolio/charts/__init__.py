"""Drawings of numbers as SVG: text as text, colours by class, a title and a description.

Modules
-------
axes    panels, axes, lines and labels: the toolkit every chart is drawn with
emc     EMC against relative humidity
paper   the style sheet's rules put into a drawing, for the PDF
"""
