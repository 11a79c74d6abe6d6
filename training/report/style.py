"""The report's style: one column on a phone, figures side by side on a desk, light or dark like the reader's screen."""

STYLE = """
:root{--ground:#fff;--ink:#1b2430;--soft:#5b6675;--line:#d8dee6;--card:#f6f8fa;--blue:#1f5fbf;--band:#1f5fbf2e;
--hit:31,120,75;--miss:190,70,30}
@media (prefers-color-scheme:dark){:root{--ground:#12161c;--ink:#e6eaf0;--soft:#a3afbd;--line:#323b47;--card:#1a2029;
--blue:#7fb0ff;--band:#7fb0ff33;--hit:70,180,120;--miss:235,120,80}}
*{box-sizing:border-box}
body{margin:0;background:var(--ground);color:var(--ink);font:16px/1.5 system-ui,sans-serif}
main{max-width:1180px;margin:0 auto;padding:16px}
h1{font-size:1.7rem;line-height:1.2;margin:.5rem 0}
h2{font-size:1.35rem;margin:2.5rem 0 .5rem;padding-top:1rem;border-top:3px solid var(--line)}
h2 small{color:var(--soft);font-weight:400;font-size:1rem}
h3{font-size:1.08rem;margin:1.8rem 0 .4rem}
p{max-width:75ch;margin:.4rem 0}
.note{color:var(--soft)}
code{font-size:.85em;overflow-wrap:anywhere}
nav{display:flex;flex-wrap:wrap;gap:8px;margin:12px 0}
nav a{border:1px solid var(--line);border-radius:6px;padding:8px 12px;color:var(--blue);text-decoration:none}
.scroll{overflow-x:auto}
table{border-collapse:collapse;font-size:.9rem;margin:.5rem 0}
th,td{border-bottom:1px solid var(--line);padding:5px 12px 5px 0;text-align:left;font-weight:400;vertical-align:top;
font-variant-numeric:tabular-nums}
td{white-space:nowrap}
thead th{color:var(--soft)}
.grid{display:grid;grid-template-columns:repeat(auto-fill,minmax(min(100%,340px),1fr));gap:14px}
figure{margin:0;background:var(--card);border:1px solid var(--line);border-radius:8px;padding:10px;min-width:0}
figcaption{font-size:.9rem;margin-bottom:6px}
figure table{font-size:.82rem}
svg{display:block;width:100%;max-width:420px;height:auto}
svg text{fill:var(--ink);font:11px system-ui,sans-serif}
svg .tick,svg .label{fill:var(--soft)}
svg .count{text-anchor:middle;fill:#fff;font-size:10px}
svg .count.over{fill:var(--ink)}
svg .axis{stroke:var(--soft)}
svg .grid{stroke:var(--line);stroke-width:.6}
svg .ideal{stroke:var(--soft);stroke-dasharray:5 4}
svg .whisker{stroke:var(--ink);stroke-width:1.2;opacity:.7}
svg .dot,svg .bar{fill:var(--blue)}
svg .bar{opacity:.8}
svg .line{fill:none;stroke:var(--blue);stroke-width:2}
svg .band{fill:var(--band)}
.confusion{font-size:.78rem}
.confusion td,.confusion th{padding:4px 5px;border:1px solid var(--line);text-align:center;white-space:normal}
.confusion td{min-width:2rem}
.confusion .hit{background:rgba(var(--hit),calc(var(--share)*.55))}
.confusion .miss{background:rgba(var(--miss),calc(var(--share)*.8))}
.confusion .sum{color:var(--soft)}
.pictures{grid-template-columns:repeat(auto-fill,minmax(min(100%,260px),1fr))}
.mistake img{width:100%;height:220px;object-fit:contain;background:#0002;border-radius:4px}
.mistake figcaption{overflow-wrap:anywhere;margin:6px 0 0}
@media (max-width:600px){td{white-space:normal}th[scope=row]{min-width:8.5rem}.confusion th[scope=row]{min-width:0}}
@media print{figure{break-inside:avoid}}
"""
