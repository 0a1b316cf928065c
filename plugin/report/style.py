"""The style sheet of the pages: light, readable in grey, fit for Letter and A4, nothing from outside."""

from __future__ import annotations

CSS = """
@page { margin: 15mm 14mm; }
* { box-sizing: border-box; }
html { -webkit-print-color-adjust: exact; print-color-adjust: exact; }
body { margin: 0 auto; padding: 1.2rem 1.4rem 3rem; max-width: 64rem; background: #fff; color: #1a1a1a;
  font: 1rem/1.45 Helvetica, Arial, "DejaVu Sans", sans-serif; }
h1 { font-size: 1.7rem; margin: 0 0 .2rem; line-height: 1.2; }
h2 { font-size: 1.3rem; margin: 2.2rem 0 .6rem; padding-bottom: .2rem; border-bottom: 2px solid #1a1a1a; }
h3 { font-size: 1.1rem; margin: 0 0 .5rem; }
p { margin: .4rem 0; max-width: 48rem; }
.from { color: #444; margin-bottom: 1rem; }
.verdict { border: 2px solid #1a1a1a; border-left-width: 10px; padding: .7rem 1rem; background: #f6f4ee; }
.verdict p { font-size: 1.1rem; max-width: none; }
.verdict p:first-child { font-size: 1.3rem; font-weight: bold; line-height: 1.3; }
table { border-collapse: collapse; width: 100%; margin: .6rem 0; font-size: .92rem; }
caption { text-align: left; font-weight: bold; padding: .2rem 0; }
th, td { text-align: left; vertical-align: top; padding: .28rem .8rem .28rem 0; border-bottom: 1px solid #bbb;
  overflow-wrap: anywhere; min-width: 3.5rem; }
td.long { min-width: 11rem; }
thead th { border-bottom: 2px solid #555; vertical-align: bottom; overflow-wrap: normal; }
thead { display: table-header-group; }
td.number, th.number { text-align: right; white-space: nowrap; font-variant-numeric: tabular-nums; }
.narrow { width: auto; min-width: 24rem; }
.tag { display: inline-block; min-width: 4.6rem; padding: 0 .5rem; text-align: center; font-size: .85rem;
  font-weight: bold; border: 2px solid #1a1a1a; border-radius: 3px; }
.serious { background: #7d1016; border-color: #7d1016; color: #fff; }
.doubt { background: #fff3d6; border-style: dashed; }
.note { background: #fff; border-width: 1px; font-weight: normal; }
.group { padding-top: .4rem; }
.group + .group { border-top: 1px solid #888; padding-top: .8rem; margin-top: 1.4rem; }
dl { display: grid; grid-template-columns: 9.5rem 1fr; gap: .25rem .8rem; margin: .4rem 0; max-width: 56rem; }
dt { font-weight: bold; }
dd { margin: 0; }
.id { display: block; color: #555; font-size: .85em; }
.id[title] { white-space: nowrap; }
.unbroken { white-space: nowrap; }
.shown { font-style: italic; }
.maps { display: flex; flex-wrap: wrap; gap: 1rem; }
figure { margin: .6rem 0; break-inside: avoid; }
figure svg { max-width: 100%; height: auto; border: 1px solid #ccc; }
figcaption { font-size: .9rem; color: #333; max-width: 48rem; }
.maps figure { flex: 0 1 22.5rem; }
ul.cautions { padding-left: 1.2rem; }
ul.cautions li { margin: .4rem 0; max-width: 52rem; break-inside: avoid; }
a { color: #0b4a78; }
@media print {
  html { font-size: 13px; }
  body { padding: 0; max-width: none; }
  h2, h3, h3 + p { break-after: avoid; }
  dl { break-inside: avoid; }
  tr, .verdict { break-inside: avoid; }
  .maps figure { flex-basis: 48%; }
  a { color: inherit; text-decoration: none; }
}
"""
