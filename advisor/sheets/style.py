"""How a printed sheet looks: light and dark, on paper, and on a narrow screen."""

from __future__ import annotations

__all__ = ["STYLE"]

STYLE = """
*{box-sizing:border-box}
html{font:15px/1.5 system-ui,-apple-system,"Segoe UI","DejaVu Sans",sans-serif;background:var(--paper);color:var(--ink);
-webkit-text-size-adjust:100%}
body{max-width:62rem;margin:0 auto;padding:1.5rem 1.25rem 3rem}
h1{font-size:2rem;line-height:1.15;margin:0 0 .3rem;letter-spacing:-.01em}
h2{font-size:1.35rem;line-height:1.25;margin:2.6rem 0 .7rem;padding-bottom:.3rem;border-bottom:2px solid var(--mark)}
h3{font-size:1.08rem;line-height:1.3;margin:1.8rem 0 .5rem}
p,ul{margin:.5rem 0;max-width:46rem}
ul{padding-left:1.2rem}
li{margin:.15rem 0}
.lead{font-size:1.05rem;color:var(--faint)}
.note,figcaption,caption small{font-size:.86rem;color:var(--faint)}
dl{display:grid;grid-template-columns:max-content 1fr;gap:.1rem .9rem;margin:1rem 0;font-size:.9rem}
dt{color:var(--faint)}
dd{margin:0;overflow-wrap:anywhere}
.cautions{border-left:4px solid var(--mark);background:var(--soft);padding:.5rem .9rem;margin:1rem 0}
.cautions p{margin:.2rem 0}
nav ol{columns:2;column-gap:2rem;padding-left:1.4rem;margin:.4rem 0 0;font-size:.92rem}
nav a{color:inherit;text-decoration-color:var(--line)}
.wide{overflow-x:auto;margin:1rem 0 1.3rem}
table{border-collapse:collapse;width:100%;font-size:.87rem;line-height:1.4}
caption{text-align:left;font-weight:650;font-size:.95rem;padding:0 0 .35rem}
caption small{display:block;font-weight:400}
th,td{text-align:left;vertical-align:top;padding:.32rem .55rem;border-bottom:1px solid var(--line);
overflow-wrap:break-word}
thead th{border-bottom:2px solid var(--ink);font-weight:600;vertical-align:bottom}
thead small{display:block;font-weight:400;color:var(--faint)}
tbody th{font-weight:600;min-width:7.5em}
tbody tr:nth-child(even){background:var(--soft)}
.n{text-align:right;font-variant-numeric:tabular-nums;white-space:nowrap}
figure{margin:1.2rem 0;overflow-x:auto;break-inside:avoid}
figure svg{display:block;max-width:100%;height:auto;min-width:34rem}
figure svg *{stroke-linejoin:round;stroke-linecap:butt}
figcaption{margin-top:.3rem}
@media (max-width:640px){
body{padding:1rem .8rem 2rem}
h1{font-size:1.55rem}
nav ol{columns:1}
dl{grid-template-columns:1fr}
dd{margin:0 0 .35rem}
.wide{overflow-x:visible}
table,tbody,tr,th,td,caption{display:block}
thead{display:none}
tbody tr{border:1px solid var(--line);border-radius:.4rem;margin:.5rem 0;padding:.35rem .6rem}
tbody th,tbody td,tbody td.n{border:0;padding:.1rem 0;text-align:left;white-space:normal}
tbody th{font-size:1rem}
tbody td::before{content:attr(data-label) ": ";color:var(--faint)}
}
@page{size:A4;margin:14mm 13mm}
@media print{
html{font-size:10.2px;background:#fff}
body{max-width:none;padding:0}
.fresh{break-before:page}
h2,h3,h4,caption,h2+p,h3+p,h4+p{break-after:avoid}
thead{display:table-header-group}
tr,figure,.short,.cautions,dl{break-inside:avoid}
figure{overflow:visible}
figure svg{min-width:0;max-height:125mm;width:auto}
.wide{overflow:visible}
*{print-color-adjust:exact;-webkit-print-color-adjust:exact}
}
"""
"""The style sheet but for its colours, which the page declares from ``pictures.look``."""
