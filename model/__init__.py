"""Plan how the roof of an old steel-bodied car is lowered, before the first cut.

Frame everywhere: right-handed car frame, x to the rear, y to the car's right,
z up (the three-plane grid of SAE J182 / ISO 4130); millimetres and degrees
inside, shop fractions at the edges.

Read the folder as the job is done: :mod:`measured`, :mod:`carfile`,
:mod:`skin`, :mod:`plan`, :mod:`posts`, :mod:`placing`, :mod:`layout`,
:mod:`fit`, :mod:`seams`, :mod:`evaluate`; :mod:`solids` alone imports the CAD
kernel.  Importing this package imports none of them.
"""

__version__ = "0.1.0"
