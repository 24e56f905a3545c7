# Prints density, viscosity, heat capacity and conductivity of liquid water at
# exactly 0.1 MPa for each temperature (kelvin) on standard input, by the
# python library iapws, an implementation independent of this one.
import sys

from iapws._iapws import _Liquid

for line in sys.stdin:
    p = _Liquid(float(line), 0.1)
    print(repr(float(line)), repr(p["rho"]), repr(p["mu"]), repr(p["cp"] * 1000), repr(p["k"]))
