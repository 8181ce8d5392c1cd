// Package waterneed computes what a planting needs: reference evapotranspiration from whatever weather is known, crop
// coefficients, the daily ledger of the wet strip and, for a horizon of days, the litres and limits that a rotation of
// turns has to respect.
//
// The method is that of FAO Irrigation and Drainage Paper 56 (Allen, Pereira, Raes, Smith, 1998), cited as FAO-56 with
// the numbers of its equations, tables and examples. engine/DEVIATIONS.md lists where and why this package leaves it.
//
// Conventions:
//
//  1. The day of planting is day 1.
//  2. A day's rain and irrigation arrive in the morning, surplus percolates, then the plants use water. The stress
//     coefficient is taken from the depletion after the wetting.
//  3. Rain under 0.2 ET0 is ignored; other rain counts whole, up to field capacity.
//  4. Soil that roots newly reach is at field capacity, unless the planting says that it is dry.
//  5. Depletion, TAW, RAW and the ledger's depths are millimetres over the wet strip; ET0 and crop evapotranspiration are
//     millimetres over the ground that the canopy serves. Litres are the same in both.
//  6. Unknown weather is replaced rung by rung, and each value carries the rung it stands on. Unknown rain is booked as
//     none, and flagged. Forecast rain is never booked.
//
// All functions are pure: same input, same bytes. Faults of input are InputErrors, which name the fields.
package waterneed
