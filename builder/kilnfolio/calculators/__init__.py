"""The calculators: small worked forms for the sums of a charge.

A calculator is data: the fields it asks for, and the steps that lead from them to its answers. Each
step names a formula of `kilnfolio.review.formulas`, so that the handbook, the reviews and the forms
share one set of formulas, symbols and sources. The page carries that data, and every constant of
the physics, in a block of JSON; ``assets/calculators.js`` holds functions and no constants of its
own. Without script the page still shows each form's example, worked here.

Rooms
-----
form        what a calculator is
accepted    the formulas it may use, and where their arguments may lie
fields      fields that several calculators ask for
weights, climates, sizes, loads, surveys
            the calculators, by subject
catalogue   all of them, in the order of the page and the units of the mill's region
worked      one worked through in Python
script      what the page hands to its script
page        the page
"""

from kilnfolio.calculators.page import render_calculators

__all__ = ["render_calculators"]
