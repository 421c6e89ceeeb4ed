#include "Report/Page.h"

#include "Report/Colours.h"

namespace spillwright {

std::string styleSheet() {
    using namespace colours;
    return ":root{--paper:" + hex(paper) + ";--raised:" + hex(raised) + ";--selected:" + hex(selected) +
           ";--ink:" + hex(ink) + ";--muted:" + hex(muted) + ";--rules:" + hex(rules) + ";--accent:" + hex(accent) +
           ";--adds:" + hex(adds) + ";--cancels:" + hex(cancels) + "}" + R"css(
html{background:var(--paper);color:var(--ink);font:16px/1.5 Inter,system-ui,-apple-system,"Segoe UI",Roboto,"Helvetica Neue",Arial,sans-serif;font-variant-numeric:tabular-nums;-webkit-text-size-adjust:100%}
body{margin:0}
main{max-width:58rem;margin:0 auto;padding:2.2rem 1.25rem 4rem}
h1{font-size:1.75rem;line-height:1.2;font-weight:600;margin:0}
h2{font-size:1.2rem;font-weight:600;color:var(--accent);margin:2.8rem 0 .6rem;padding-top:.7rem;border-top:2px solid var(--accent)}
h3{font-size:1rem;font-weight:600;margin:1.6rem 0 .3rem}
p{margin:.5rem 0;max-width:44rem}
.quiet{color:var(--muted);font-size:.875rem}
.lead{font-size:1.06rem}
ul,ol{margin:.4rem 0;padding-left:1.4rem;max-width:46rem}
ol{padding-left:2.4rem}
li{margin:.15rem 0}
nav ul{list-style:none;padding:0;display:flex;flex-wrap:wrap;gap:.2rem 1.2rem}
a{color:var(--accent)}
.pair dl{grid-template-columns:max-content 1fr max-content 1fr;font-size:.875rem}
dl{display:grid;grid-template-columns:max-content 1fr;gap:.15rem 1.2rem;margin:.6rem 0}
dt{color:var(--muted)}
dd{margin:0;overflow-wrap:anywhere}
.wide{overflow-x:auto}
table{border-collapse:collapse;font-size:.875rem;line-height:1.35;margin:.6rem 0;min-width:60%}
caption{caption-side:bottom;text-align:left;color:var(--muted);padding-top:.35rem}
th{text-align:left;font-weight:600;vertical-align:bottom;border-bottom:1.5px solid var(--ink);padding:.25rem .8rem .25rem 0}
td,tbody th{border-bottom:1px solid var(--rules);padding:.22rem .8rem .22rem 0;vertical-align:top;overflow-wrap:anywhere}
tbody th{font-weight:400}
.n{text-align:right;white-space:nowrap}
.whole{white-space:nowrap}
.some{font-weight:600}
tr.taken>*{background:var(--selected)}
.adds{color:var(--adds)}
.cancels{color:var(--cancels)}
.map td{text-align:center;white-space:nowrap;padding:.2rem .35rem}
.map thead th{text-align:center;padding:.2rem .35rem}
.map small{display:block;color:var(--muted);font-size:.75rem}
.map .own{background:var(--selected);font-weight:600}
figure{margin:.8rem 0}
svg{display:block;max-width:100%;height:auto}
figcaption{font-size:.875rem;color:var(--muted);margin-top:.3rem;max-width:46rem}
@page{margin:14mm 15mm}
@media print{
html{background:#fff;font-size:12px}
main{max-width:none;padding:0}
nav{display:none}
h2{margin-top:1.6rem;break-after:avoid}
h3,caption{break-after:avoid}
tr,figure,li,dl{break-inside:avoid}
thead{display:table-header-group}
.page{break-before:page}
.page>h2,.page>h3{margin-top:0}
.wide{overflow:visible}
.sheet table,.sheet{font-size:.78rem}
.sheet td,.sheet tbody th{padding-top:.1rem;padding-bottom:.1rem}
p,ul,ol,figcaption{max-width:none}
a{color:inherit;text-decoration:none}
p{orphans:3;widows:3}
}
)css";
}

} // namespace spillwright
