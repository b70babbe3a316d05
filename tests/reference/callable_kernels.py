"""Kernels compiled so that Python can call them: within the package only other kernels do."""

from raytrace.kernels import points, refract, sheet, sun, tube
from raytrace.kernels.jit import callable_twin

attenuation = callable_twin(refract.attenuation)
normal_after_sq = callable_twin(refract.normal_after_sq)
transmittance = callable_twin(refract.transmittance)
bend = callable_twin(sheet.bend)
walk_sheet = callable_twin(sheet.walk_sheet)
sun_direction = callable_twin(sun.sun_direction)
turned = callable_twin(sun.turned)
cos_sin_turn = callable_twin(points.cos_sin_turn)
from_table = callable_twin(points.from_table)
hashed_uniform = callable_twin(points.hashed_uniform)
lattice_point = callable_twin(points.lattice_point)
walk_row = callable_twin(tube.walk_row)
