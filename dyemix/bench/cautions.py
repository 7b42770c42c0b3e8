"""The usual cautions, in one place: every sheet prints them (common practice)."""

from __future__ import annotations

#: What comes before any sheet.
DEFER = "The dye's safety data sheet, local rules and licensed practice come before this page."
POWDER = (
    "Dye powder: some reactive dyes sensitise lungs and skin (H334, H317; they vary by dye, assume "
    "both where the sheet is missing). An adult mixes all powder, over a damp-paper-lined tray, in "
    "a dust mask (P2, FFP2, N95 or better) and gloves; nobody with asthma handles it."
)
SODA = (
    "Soda ash: serious eye irritation (H319): goggles and gloves. It reacts strongly with acid: "
    "neutralise dilute and slowly."
)
HOT = "Hot soak scalds: tongs, thick gloves."
FOOD = (
    "Never use the tools or cups for food again. Stocks closed, labelled, out of children's reach, "
    "never in a refrigerator or bottle used for food or drink."
)
BLEACH = "Chlorine bleach never with acid or ammonia."
DISPOSAL = "Disposal: well diluted to the sewer where local rules allow; not on soil."

#: On a sheet for a bath, where no powder is handled.
BATH = ("Gloves and goggles. No powder at the bath: only liquid stock.", SODA, HOT, FOOD, BLEACH,
        DISPOSAL, POWDER, DEFER)  # fmt: skip
#: On a sheet for making stock.
STOCK = (POWDER, FOOD, DISPOSAL, SODA, BLEACH, DEFER)
