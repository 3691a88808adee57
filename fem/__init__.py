"""Physics of a braced top: woods, sections, assembly, modes, sensitivities, taps, pictures."""
