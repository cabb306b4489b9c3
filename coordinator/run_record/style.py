"""How a record looks: on a screen light or dark, as that is set; on paper black on white.

Nothing is told by a colour. The sheet's size is the printer's, so A4 and Letter are both served.
"""

from typing import Final

STYLE: Final = """
:root { color-scheme: light dark; }
body { margin: 0 auto; padding: 1.5rem; max-width: 60rem; line-height: 1.4;
  font: 1rem/1.4 system-ui, sans-serif; overflow-wrap: anywhere; }
h1 { margin: 0 0 .3rem; font-size: 1.6rem; }
h2 { margin: 1.6rem 0 .4rem; font-size: 1.15rem; border-bottom: 1px solid; }
h3 { margin: 1rem 0 .3rem; font-size: 1rem; }
p, ul { margin: .4rem 0; }
p.outcome { padding: .6rem .8rem; border: 3px solid; font-size: 1.2rem; font-weight: 600; }
table { border-collapse: collapse; width: 100%; font-size: .9rem; }
th, td { padding: .2rem .5rem; border: 1px solid; text-align: left; vertical-align: top; }
table.facts { table-layout: fixed; }
table.facts th { width: 35%; font-weight: 600; }
div.wide { overflow-x: auto; }
div.wide table { overflow-wrap: break-word; }
table.figures td { text-align: right; font-variant-numeric: tabular-nums; }
svg { display: block; max-width: 100%; height: auto; margin: .5rem 0; }
ol.program { margin: 0; padding-left: 4.5em; font: .85rem/1.35 ui-monospace, monospace; }
ol.program li { white-space: pre-wrap; }
footer { margin-top: 2rem; padding-top: .5rem; border-top: 1px solid; font-size: .85rem; }
@page { margin: 15mm; }
@media print {
  :root { color-scheme: light; }
  body { padding: 0; max-width: none; color: #000; background: #fff; font-size: 10pt; }
  div.wide { overflow: visible; }
  h2, h3 { break-after: avoid; }
  thead { display: table-header-group; }
  tr, svg, p.outcome, ol.program li { break-inside: avoid; }
}
"""
