"""Physics of the light: where the sun stands, how much ultraviolet a clear sky gives, whether a sensor's figure still
means the same to the emulsion, what a tipped sensor costs, lamps, a word of caution. Pure, with numpy.

Most that is asked: `sun.position`, `daylight.solar_day`, `airmass.air_mass`, `uv.clear_uv`, `mismatch.between`,
`level.tipped`; with `plane.Plane` and `clearsky.Atmosphere` as what they are asked about. Names of sensor classes are
the bands of the catalogue of parts.
"""
