"""The calculators: small forms for the calculations of a charge.

A calculator is data: its fields, and the steps from them to its answers. Each step names a formula
of `kilnfolio.review.formulas`, so that handbook, reviews and forms share one set of formulas,
symbols and sources. The page contains that data and all constants of `physics` as JSON;
``assets/calculators.js`` has functions but no constants of its own. Without script, the page still
shows the example of each form, worked here.

Modules
-------
form        the parts of a calculator
accepted    the formulas it may use, and the ranges of their arguments
fields      fields that several calculators share
weights, climates, sizes, loads, surveys
            the calculators, by subject
catalogue   all calculators, in the order of the page and the units of the mill's region
worked      a calculator evaluated in Python
script      the data of the page's script
page        the page
"""

from kilnfolio.calculators.page import render_calculators

__all__ = ["render_calculators"]
