"""Swatches and trials to a `DyeSet` that promises what it will miss by; knows no file.

What a fit believes, in order of what it reads. Symbols are those of `dyemix.model.mixtures`; ΔE is
ΔE2000, and its three parts those of `dyemix.colour.ciede2000.delta_e_residual`.

**The model.** ``K/S = K/S of the cloth + Σ gᵢ aᵢ (1 + mᵢ tᵢ)``, seen through a surface (r0, k2)
that the whole set shares: single-constant Kubelka–Munk. g follows a bent power of the depth; in
company it is multiplied by ``exp(mᵢ eᵢ) (1 + T)^κ / (1 + cᵢ)^κᵢ``, κ the mean of κᵢ by depth.

**Squares of one dye** (`ladder`, `lab_ladder`) give a, the law and what is open of
both. Spectra: each band a least squares weighed by |dR/dk|, strengths regressed on the law; where
a dye outshines its cloth, a band tells as little as cloth. By how much a curve turns from depth to
depth (bands that move, light given out and taken back) mixes may see it turned, either way. Such
ladders then miss less that nobody can explain: on worlds where bands move as the fibre fills,
promised ÷ found falls from 2.12 to 1.93 before any mix, and ten mixes close 0.23 instead of 0.18 of
the gap (no more on further seeds); elsewhere nothing changes by 0.01 ΔE. CIELAB:
one curve for all depths, ln a a Gaussian process of lengths 120 nm (standard deviation 2) and 40 nm
(0.6) about a level that is free, falling by 2 from 600 to 700 nm; how far a reading strays, misfit
included, the ladders say themselves (0.3 ΔE before). Exponent N(0.95, 0.15), bend N(0, 0.05):
three depths cannot choose a law. No criterion on squares finds the surface that mixes prefer, so a
grid of surfaces is averaged (of spectra by cost⁻³, of CIELAB by cost⁻¹, which is nearly flat) and
its spread kept open: a dye in a mix moves with the surface as its squares would. So it does with
what a photograph is off by as a whole: 0.6 of the variance that its readings state, in three parts,
an unknown of every dye that was read from it.

**Mixes of the table and trials** (`calibration`), each pot once, whatever the order:
``y = f + H θ + e``, a Gaussian linear model about the posterior mean. θ holds

- a log strength a dye in company, N(0, τ²), and a bias common to all, N(0, 0.08²): measured mixes
  come out 10 to 15 % stronger than single squares say, and strengths matter most;
- what each dye does to all in its bath, of either sign, where it fills the fibre: κᵢ, N(0, 0.15²)
  in common, N(0, 0.1²) each, and β, N(0, 1), times what its own squares say of its saturation (its
  law's slope at 2 % owf less 0.95). On ln(1 + T) − ln(1 + cᵢ), since the squares of a dye hold what
  it does to itself. Dyes that share sites, or that change the scatter of the cloth, show in each
  other's company what bends their ladders (correlation 0.8 and 0.6 of κᵢ; elsewhere 0): one β for
  all closes 0.82 and 0.33 of the gap with ten mixes instead of 0.75 and 0.13 (0.7 does the same).
  Twice 0.1 costs worlds that have none of it; a size that follows τ closes less; one κ for each
  pair of dyes earned nothing more;
- by how many nm each dye's bands move beside others, standard deviation ν of 0.4, 4 or 9 (weights
  0.8, 0.15, 0.05 before any mix; 6 and 15 do the same), on its curve and a twentieth of its peak.
  Where bands move it closes 0.46 of the gap, four parts of a smooth process 0.39, and both together
  no more. A ν that is fixed and not small costs where curves keep their shape;
- what the ladders left open: surface, levels, laws, curves.

e holds dosing, pot and reading (`Scatter`, a common practice of 3.5 % each before repeats
say), and what is this recipe's own and no other tells of: strengths that stray once more by 0.8 τ,
and a rest s in each part of ΔE. Of what a photographed reading is stated to be off by, 0.6 is alike
in all pots of its picture (of one, where none is named; a pot read from two has half of each): it
teaches nothing of the dyes, but where squares are in that picture too: what it is off by is one
unknown of both. Telling pots and squares apart by their pictures, ten mixes of photographs close
0.41 instead of 0.36 of the gap (on other seeds 0.36 and 0.28), twenty 0.54 and 0.48; 0.45 or 0.75
do the same, and so does what is alike only between near colours. Told the true errors of the camera
they would close 0.44.

What few pots happen to miss by alike looks as if dyes were so: m of them, or m pictures that they
were read from, move θ by m / (m + ½) of the mean. What photographed mixes make worse, over the
worlds where they do, falls by 0.45 of it, in the three worst from 0.26 to 0.16 ΔE; the most that
three mixes of CIELAB do on 30 worlds from 0.05 to 0.01; and ten close as much.

τ is half-normal (0.09), s log-normal (median 0.45, 0.6 in ln).
One unknown more is how much pots tell of each other: 0.3 of the prior says nothing, so that
each stays with its own error and company does a tenth of what it may; 0.18 that company does half
of it; the rest all. So two or three mixes of a shelf that no strength, bias or surface would mend
move it little, and where mixes agree, nothing is lost of what ten teach. A shelf that does not need
company is then left alone: beside a prior in which company did all it may or pots told nothing,
found after ten mixes falls from 0.880 to 0.874 ΔE (spectra; of CIELAB and photographs hardly), and
what mixes make worse, over the worlds where they do, by two fifths. All four are marginalised
together on a grid of 216 cells. Bias, κ and the need of τ held on measured sets of three colorants
on white; the other figures were chosen on the DEVELOP worlds of `tests/simulated/worlds.py`, where
the miss after three mixes or more hardly knows them (0.02 ΔE for a factor of 1.5 in any).

Tried there and left out, for less than 0.02 of the gap with ten mixes of spectra: their colour
under other lamps too (A, and FL11); one unknown for how far all curves turn in company; ladders
open 1.5 times as wide; τ of 0.14, a mix's own share of 0.5 or 1.2, a fifth for pots that tell
nothing of each other; a bias that follows τ; a finer grid of s; and of photographs an error that is
alike only between near colours, or as the camera that made them errs: what pots of two photographs
make worse is what those two happen to be off by, not how it is alike.

**The promise.** ``H Σθ Hᵀ`` and all of e, as ΔE of a Student's t with the tails of the cells: those
of τ and s beside what readings stray by, which is stated or measured (without that share
photographs came below their median too seldom, 48 of 100 after twenty mixes). Pots left out in turn
widen it where they stray more than promised, and never narrow it: the covariance times ``max(1, (5
+ Σ χ²/3) / (5 + n))``. A pot whose χ² exceeds 11.3 (one in a hundred, of three parts), or as much
more as the pot in the middle strays more than its share, errs by so much more of its own: it drags
no strength, and counts as 11.3 in the widening. Ladders widen it too: where their left-out inner
depths miss across strength (so that no other strength would mend it) by more than 0.7 ΔE, s grows
by 2.8 √(the rest) (its grid by the root of that: where mixes showed an s below the grid's end,
twenty were promised 1.17 times what was found, then 1.11), and strengths that lie off their law
count less as scatter, by the square of that share: counted in full they made the promise after
twenty mixes too wide, by 1.19 (then 1.09), and taught less. What a dye by itself misses is none of
a mix: with a share of it twenty were promised 1.11 times what was found, without it 1.02. Worlds of
dyes show 0 to 0.6 there, colorants that hide their ground 1.4 to 3.9; above 1.2 the verdict is that
these do not behave as dye on cloth, and above 2 all that company may do is open in proportion (ten
mixes close 0.21 instead of 0.15 of the gap).

**What each reading moves.** A square by itself: its dye's curve and law, all surfaces and the
scatter. A mix: strengths of its dyes, bias, κ, bands in company, surface, τ, s, ν; a dye that no
mix holds only by bias and surface. A repeat of a recipe: nothing but its own mean. A clipped
channel: only where the prediction lies on the wrong side of it. A second bath: only how far second
baths stray. A trial of little weight (old, another lot): all of that, less.

**Where it could be better.** Before β and moving bands, ten mixes closed 0.44 of the gap on DEVELOP
worlds, and 0.50 since; 150 close 0.80. Told without error what ten mixes would be, they would have
closed 0.55; told the true strengths 0.46, interactions 0.52, ladders 0.54, curves 0.57. So half of
what is missing is the scatter of so few pots, and no single unknown is the rest. An estimator that
knows the family, its harshness and the true shelf (regression over 200 worlds of it) closes 0.24 to
0.89 with ten, half of that by the mean of its family alone: less than 0.4 for pairs of dyes.

**Where it fails.** Ten mixes close two fifths to half of the gap to the true model (over worlds
kept for the report 0.39 for spectra, 0.44 for CIELAB, 0.40 for photographs), and least of what no
unknown stands for: 0.12 for dyes that shine of themselves, read as spectra. Their light adds to
reflectance, not to K/S: told without error what each curve lacks once its light is put out, mixes
teach no more. What a hue or chroma that a whole picture has wrong does to colours far apart is not
told from the dyes: three parts a picture stand for all. Colorants far from the model are promised
too little before the first mix (seven tenths of the pots under the bound in the worst worlds of
dyes). Before the first mix the promise is too wide for dyes that behave, up to twice the miss,
since nobody can know that they do. A CIELAB ladder tells little of how it looks under another lamp.
The tables: benchmarks/README.md.
"""
