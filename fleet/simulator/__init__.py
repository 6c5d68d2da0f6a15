"""The physical truth to measure everything else against: boxes, heaters, loads, drivers and radio links.

What lives here: a resolved-cycle simulation (relay thermostat, coolant lag, several load layers) of one
trip in many worlds (`cases`, `worlds`), and of whole fleets whose gateways send readings and faults
(`streams`).

What does not: any judgement. Nothing here imports Django or `thermal`, and `thermal` never imports this, so
that the score can be proven against something that does not share its code.
"""
