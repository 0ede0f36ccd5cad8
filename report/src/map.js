// The interactive map: the layers' own CRS, moved to a round origin and in metres, on a 2-D canvas.
import Collection from 'ol/Collection.js';
import Feature from 'ol/Feature.js';
import Map from 'ol/Map.js';
import View from 'ol/View.js';
import LineString from 'ol/geom/LineString.js';
import Point from 'ol/geom/Point.js';
import Polygon from 'ol/geom/Polygon.js';
import { defaults as interactions } from 'ol/interaction/defaults.js';
import ImageLayer from 'ol/layer/Image.js';
import VectorLayer from 'ol/layer/Vector.js';
import Projection from 'ol/proj/Projection.js';
import ImageStatic from 'ol/source/ImageStatic.js';
import VectorSource from 'ol/source/Vector.js';
import Circle from 'ol/style/Circle.js';
import Fill from 'ol/style/Fill.js';
import RegularShape from 'ol/style/RegularShape.js';
import Stroke from 'ol/style/Stroke.js';
import Style from 'ol/style/Style.js';
import Text from 'ol/style/Text.js';

import { describeBase, describeFeature, describeOutline } from './describe.js';
import { fixed, roundStep, stepDecimals } from './numbers.js';

const INK = '#222222';
const FONT = 'system-ui, sans-serif';
// Corners of a drawn ellipse.
const CORNERS = 36;
// Where features are many, their labels are drawn below so many metres a pixel.
const MANY_LABELLED = 0.5;

export function begin(data) {
  const panel = document.getElementById('map-panel');
  const target = document.getElementById('map-canvas');
  if (!panel || !target) return;
  panel.hidden = false;
  const projection = new Projection({ code: 'page', units: 'm', axisOrientation: 'enu' });
  const layers = makeLayers(data, projection);
  const map = new Map({
    target,
    controls: new Collection(),
    interactions: interactions({ onFocusOnly: true, altShiftDragRotate: false, pinchRotate: false }),
    layers: layers.list,
    view: new View({ projection, enableRotation: false, minResolution: 0.0005, center: [0, 0], resolution: 1 }),
  });
  let fitted = null;
  const whole = () => {
    map.getView().fit(data.plane.bounds, { padding: [24, 24, 24, 24] });
    fitted = map.getView().getResolution();
  };
  whole();
  // A window that changes keeps the whole map in sight, until somebody has moved it.
  map.on('change:size', () => {
    if (map.getView().getResolution() === fitted) whole();
  });
  const choose = chooser(data, map, layers);
  switches(layers);
  buttons(map, whole);
  scaleBar(map, data.units.length);
  grid(data, map, layers.grid);
  search(data, choose);
  links(data, choose);
  map.on('singleclick', (event) => choose(nearest(map, event.pixel)));
  map.on('pointermove', (event) => {
    target.style.cursor = !event.dragging && nearest(map, event.pixel) ? 'pointer' : '';
  });
  target.addEventListener('keydown', (event) => keys(event, data, map, choose));
  target.dataset.features = String(data.features.name.length);
  target.dataset.ready = 'yes';
}

// The feature under a place, the nearest where there are several.
function nearest(map, pixel) {
  const [x, y] = map.getCoordinateFromPixel(pixel) ?? [0, 0];
  let best = null;
  map.forEachFeatureAtPixel(
    pixel,
    (feature) => {
      const what = feature.get('what');
      if (!what) return;
      const place = feature.getGeometry();
      const [px, py] = place.getType() === 'Point' ? place.getCoordinates() : place.getClosestPoint([x, y]);
      // Points go before what they lie on.
      const off = Math.hypot(px - x, py - y) + (place.getType() === 'Point' ? 0 : 1e9);
      if (!best || off < best.off) best = { off, what };
    },
    { hitTolerance: 6 },
  );
  return best?.what ?? null;
}

function markImage(mark, size, colour, outline, width) {
  const fill = new Fill({ color: colour });
  const stroke = new Stroke({ color: outline, width });
  const radius = size / 2;
  // Marks are never left out for others; only labels are.
  const declutterMode = 'none';
  switch (mark) {
    case 'square':
      return new RegularShape({ declutterMode, points: 4, radius: radius * 1.27, angle: Math.PI / 4, fill, stroke });
    case 'triangle':
      return new RegularShape({ declutterMode, points: 3, radius: radius * 1.35, fill, stroke });
    case 'star':
      return new RegularShape({ declutterMode, points: 5, radius: radius * 1.15, radius2: radius * 0.5, fill, stroke });
    case 'cross':
      return new RegularShape({ declutterMode, points: 4, radius, radius2: 0, stroke: new Stroke({ color: colour, width: 2.2 }) });
    case 'x':
      return new RegularShape({ declutterMode, points: 4, radius: radius * 1.13, radius2: 0, angle: Math.PI / 4, stroke: new Stroke({ color: colour, width: 2.2 }) });
    default:
      return new Circle({ declutterMode, radius, fill, stroke });
  }
}

function vector(features, options) {
  return new VectorLayer({ source: new VectorSource({ features }), updateWhileAnimating: false, ...options });
}

function makeLayers(data, projection) {
  const f = data.features;
  const count = f.name.length;
  const points = data.groups.map(() => []);
  // Shots of one measurement share a name: it stands once.
  const labelled = new Set();
  for (let i = 0; i < count; i += 1) {
    const feature = new Feature(new Point([f.x[i], f.y[i]]));
    feature.setId(`f${i}`);
    feature.set('what', { kind: 'feature', index: i }, true);
    feature.set('flagged', data.features.words[f.flags[i]] !== '', true);
    feature.set('label', labelled.has(f.name[i]) ? '' : f.name[i], true);
    labelled.add(f.name[i]);
    points[f.group[i]].push(feature);
  }
  const groups = data.groups.map((group, index) => pointLayer(points[index], group, data.many));
  const { looks } = data;
  const sights = sightLayer(data);
  const ellipses = ellipseLayer(data);
  const outlines = (list, look, area) =>
    vector(
      list.map((line, index) => {
        const corners = pairs(line.corners);
        const feature = new Feature(area ? new Polygon([corners]) : new LineString(corners));
        feature.set('what', { kind: area ? 'area' : 'line', index }, true);
        feature.set('label', line.name, true);
        return feature;
      }),
      {
        declutter: true,
        style: (feature) =>
          new Style({
            stroke: new Stroke({ color: look.colour, width: look.width }),
            fill: area ? new Fill({ color: clear(look.colour, look.fill) }) : undefined,
            text: label(feature.get('label'), 0, !area),
          }),
      },
    );
  const bases = vector(
    data.bases.map((base, index) => {
      const feature = new Feature(new Point([base.x, base.y]));
      feature.set('what', { kind: 'base', index }, true);
      feature.set('label', base.name, true);
      return feature;
    }),
    { declutter: true, zIndex: 6, style: baseStyle(looks.bases) },
  );
  const lines = outlines(data.lines, looks.lines, false);
  const areas = outlines(data.areas, looks.areas, true);
  // Its labels give way to those of features.
  const gridLayer = vector([], { declutter: true, zIndex: -2 });
  const chosen = vector([], {
    zIndex: 9,
    style: new Style({
      image: new Circle({ radius: 11, stroke: new Stroke({ color: '#b3261e', width: 3 }) }),
      stroke: new Stroke({ color: '#b3261e', width: 3 }),
    }),
  });
  const named = { sights, ellipses, bases, lines, areas, grid: gridLayer, cells: cellLayer(data), background: backgroundLayer(data, projection) };
  groups.forEach((layer, index) => {
    named[`group-${index}`] = layer;
  });
  const list = [named.background, gridLayer, named.cells, areas, lines, sights, ellipses, ...groups, bases, chosen].filter(Boolean);
  return { list, named, grid: gridLayer, chosen, groups };
}

function pairs(flat) {
  const list = [];
  for (let i = 0; i + 1 < flat.length; i += 2) list.push([flat[i], flat[i + 1]]);
  return list;
}

function clear(colour, opacity) {
  return colour + Math.round(opacity * 255).toString(16).padStart(2, '0');
}

function label(text, offset, along) {
  return new Text({
    text,
    font: `12px ${FONT}`,
    offsetX: along ? 0 : offset,
    textAlign: offset ? 'left' : 'center',
    fill: new Fill({ color: INK }),
    stroke: new Stroke({ color: '#ffffff', width: 3 }),
  });
}

function pointLayer(features, group, many) {
  const plain = markImage(group.mark, group.size, group.colour, '#ffffff', 1);
  const flagged = markImage(group.mark, group.size + 2, group.colour, INK, 2);
  return vector(features, {
    declutter: true,
    zIndex: 4,
    style: (feature, resolution) => {
      const style = new Style({ image: feature.get('flagged') ? flagged : plain });
      if (!many || resolution < MANY_LABELLED) style.setText(label(feature.get('label'), 9, false));
      return style;
    },
  });
}

function baseStyle(look) {
  const image = markImage(look.mark, look.size, look.colour, '#ffffff', 1.5);
  return (feature) => {
    const text = label(feature.get('label'), 11, false);
    text.setFont(`bold 12px ${FONT}`);
    return new Style({ image, text });
  };
}

function sightLayer(data) {
  if (!data.sights) return null;
  const f = data.features;
  const place = {};
  data.bases.forEach((base) => {
    place[base.name] = [base.x, base.y];
  });
  const lines = [];
  f.name.forEach((_, i) => {
    const from = place[f.words[f.base[i]]];
    if (from) lines.push(new Feature(new LineString([from, [f.x[i], f.y[i]]])));
  });
  const look = data.looks.sights;
  return vector(lines, { visible: !data.many, zIndex: 1, style: new Style({ stroke: new Stroke({ color: look.colour, width: look.width }) }) });
}

function ellipseLayer(data) {
  const f = data.features;
  if (!data.factor || !f.major) return null;
  const look = data.looks.ellipses;
  const rings = [];
  f.major.forEach((major, i) => {
    if (major === null) return;
    const turn = (f.turn[i] * Math.PI) / 180;
    const [sin, cos] = [Math.sin(turn), Math.cos(turn)];
    const ring = [];
    for (let corner = 0; corner <= CORNERS; corner += 1) {
      const angle = (2 * Math.PI * corner) / CORNERS;
      const along = major * data.factor * Math.cos(angle);
      const across = f.minor[i] * data.factor * Math.sin(angle);
      ring.push([f.x[i] + along * sin - across * cos, f.y[i] + along * cos + across * sin]);
    }
    rings.push(new Feature(new Polygon([ring])));
  });
  return vector(rings, {
    visible: !data.many,
    zIndex: 2,
    style: new Style({ stroke: new Stroke({ color: look.colour, width: 1 }), fill: new Fill({ color: clear(look.colour, look.fill) }) }),
  });
}

function cellLayer(data) {
  if (!data.cells) return null;
  const { width, height, cells } = data.cells;
  let most = 1;
  for (let i = 2; i < cells.length; i += 3) most = Math.max(most, cells[i]);
  const squares = [];
  for (let i = 0; i < cells.length; i += 3) {
    const [x, y] = [cells[i], cells[i + 1]];
    const square = new Feature(new Polygon([[[x, y], [x + width, y], [x + width, y + height], [x, y + height], [x, y]]]));
    square.set('count', cells[i + 2], true);
    squares.push(square);
  }
  return vector(squares, {
    zIndex: -1,
    style: (square) => new Style({ fill: new Fill({ color: clear(INK, 0.06 + 0.35 * Math.sqrt(square.get('count') / most)) }) }),
  });
}

// The user's own file: a picture from the drawn map, or outlines.
function backgroundLayer(data, projection) {
  const picture = document.getElementById('background');
  if (picture) {
    const source = new ImageStatic({ url: picture.getAttribute('href'), imageExtent: data.plane.bounds, projection });
    return new ImageLayer({ source, zIndex: -3 });
  }
  if (!data.background) return null;
  const lines = data.background.map((line) => new Feature(new LineString(pairs(line))));
  return vector(lines, { zIndex: -3, style: new Style({ stroke: new Stroke({ color: '#b0a890', width: 1 }) }) });
}

// Shows what was chosen in the panel, and where it is.
function chooser(data, map, layers) {
  const panel = document.getElementById('chosen');
  const find = (what) => {
    const lists = [...layers.groups, layers.named.bases, layers.named.lines, layers.named.areas];
    for (const layer of lists) {
      const found = layer.getSource().getFeatures().find((feature) => {
        const own = feature.get('what');
        return own.kind === what.kind && own.index === what.index;
      });
      if (found) return found;
    }
    return null;
  };
  return (what, move) => {
    const source = layers.chosen.getSource();
    source.clear();
    panel.replaceChildren();
    if (!what) {
      panel.hidden = true;
      return;
    }
    const found = find(what);
    if (found) {
      source.addFeature(new Feature(found.getGeometry()));
      if (move) {
        const [west, south, east, north] = found.getGeometry().getExtent();
        const middle = [(west + east) / 2, (south + north) / 2];
        const seen = map.getView().calculateExtent(map.getSize());
        const inside = middle.every((at, axis) => at > seen[axis] && at < seen[axis + 2]);
        if (!inside) map.getView().setCenter(middle);
      }
    }
    const describe = { feature: describeFeature, base: describeBase }[what.kind] ?? describeOutline;
    panel.append(...describe(data, what));
    panel.dataset.chosen = `${what.kind} ${what.index}`;
    panel.hidden = false;
  };
}

function switches(layers) {
  for (const box of document.querySelectorAll('#legend input[data-layer]')) {
    const layer = layers.named[box.dataset.layer];
    if (!layer) {
      box.closest('label').hidden = true;
      continue;
    }
    box.checked = layer.getVisible();
    box.addEventListener('change', () => layer.setVisible(box.checked));
  }
}

function buttons(map, whole) {
  const zoom = (factor) => map.getView().setResolution(map.getView().getResolution() * factor);
  const on = (id, act) => document.getElementById(id).addEventListener('click', act);
  on('zoom-in', () => zoom(0.5));
  on('zoom-out', () => zoom(2));
  on('zoom-all', whole);
}

function scaleBar(map, unit) {
  const bar = document.getElementById('scale-bar');
  const show = () => {
    const resolution = map.getView().getResolution();
    const length = roundStep(resolution * 60 * unit.by);
    bar.firstElementChild.style.width = `${length / unit.by / resolution}px`;
    const isLong = unit.by === 1 && length >= 1000;
    bar.lastElementChild.textContent = isLong ? `${length / 1000} km` : `${fixed(length, stepDecimals(length))} ${unit.sign}`;
  };
  map.getView().on('change:resolution', show);
  show();
}

// The grid of the layers' CRS, with its coordinates at the edges of the map.
function grid(data, map, layer) {
  const { origin, unit_m: unit, degrees } = data.plane;
  const line = new Style({ stroke: new Stroke({ color: '#d8d8d8', width: 1 }) });
  const show = () => {
    const [west, south, east, north] = map.getView().calculateExtent(map.getSize());
    const back = (metres, axis) => metres / unit[axis] + origin[axis];
    const forth = (value, axis) => (value - origin[axis]) * unit[axis];
    const step = roundStep(Math.max(east - west, north - south) / 6 / unit[1]);
    const lines = [];
    const [wide, high] = map.getSize() ?? [0, 0];
    const add = (axis, least, most, letter) => {
      for (let i = Math.ceil(back(least, axis) / step); i * step <= back(most, axis); i += 1) {
        const at = forth(i * step, axis);
        const ends = axis ? [[west, at], [east, at]] : [[at, south], [at, north]];
        const made = new Feature(new LineString(ends));
        const text = new Text({
          text: `${letter} ${fixed(i * step, stepDecimals(step))}${degrees ? '°' : ''}`,
          font: `12px ${FONT}`,
          textAlign: 'left',
          textBaseline: 'bottom',
          offsetX: 4,
          offsetY: axis ? -2 : -4,
          fill: new Fill({ color: '#595959' }),
          stroke: new Stroke({ color: '#ffffff', width: 3 }),
        });
        // Labels of the one axis leave the corner to those of the other, and the foot of the map to the scale bar.
        const px = axis ? ((north - at) / (north - south)) * high : ((at - west) / (east - west)) * wide;
        const isFree = axis ? px > 16 && px < high - 64 : px < wide - 90;
        made.setStyle(isFree ? [line, new Style({ geometry: new Point(ends[0]), text })] : line);
        lines.push(made);
      }
    };
    add(0, west, east, 'E');
    add(1, south, north, 'N');
    const source = layer.getSource();
    source.clear(true);
    source.addFeatures(lines);
  };
  map.on('moveend', show);
  map.on('change:size', show);
  show();
}

function search(data, choose) {
  const field = document.getElementById('search');
  const found = document.getElementById('found');
  const names = data.features.name.map((name) => name.toLowerCase());
  const all = [
    ...data.bases.map((base, index) => ({ name: base.name.toLowerCase(), what: { kind: 'base', index } })),
    ...names.map((name, index) => ({ name, what: { kind: 'feature', index } })),
    ...data.lines.map((line, index) => ({ name: line.name.toLowerCase(), what: { kind: 'line', index } })),
    ...data.areas.map((area, index) => ({ name: area.name.toLowerCase(), what: { kind: 'area', index } })),
  ];
  let turn = 0;
  const look = (next) => {
    const word = field.value.trim().toLowerCase();
    if (!word) {
      found.textContent = '';
      choose(null);
      return;
    }
    const rank = ({ name }) => (name === word ? 0 : name.startsWith(word) ? 1 : 2);
    const hits = all.filter(({ name }) => name.includes(word)).sort((a, b) => rank(a) - rank(b));
    turn = next ? turn + 1 : 0;
    found.textContent = hits.length ? `${(turn % hits.length) + 1} of ${hits.length}` : 'nothing of that name is on the map';
    choose(hits.length ? hits[turn % hits.length].what : null, true);
  };
  field.addEventListener('input', () => look(false));
  field.addEventListener('keydown', (event) => {
    if (event.key === 'Enter') {
      event.preventDefault();
      look(true);
    }
  });
}

// Links to features and bases elsewhere in the page, and the address of the page itself.
function links(data, choose) {
  const go = () => {
    const match = /^#([fb])(\d+)$/.exec(window.location.hash);
    if (!match) return;
    const [kind, count] = match[1] === 'f' ? ['feature', data.features.name.length] : ['base', data.bases.length];
    if (Number(match[2]) >= count) return;
    choose({ kind, index: Number(match[2]) }, true);
    document.getElementById('map').scrollIntoView();
  };
  window.addEventListener('hashchange', go);
  for (const link of document.querySelectorAll('a[href^="#f"], a[href^="#b"]')) {
    // A second click on the same link changes no address.
    link.addEventListener('click', () => setTimeout(go, 0));
  }
  go();
}

// N and P go from feature to feature, Escape leaves; arrows, + and - are the map's own.
function keys(event, data, map, choose) {
  const panel = document.getElementById('chosen');
  const count = data.features.name.length;
  if (event.key === 'Escape') choose(null);
  if (!count || !['n', 'p', 'N', 'P'].includes(event.key)) return;
  const [kind, index] = panel.hidden ? ['', '-1'] : panel.dataset.chosen.split(' ');
  const now = kind === 'feature' ? Number(index) : -1;
  const step = event.key.toLowerCase() === 'n' ? 1 : -1;
  choose({ kind: 'feature', index: (Math.max(now, step < 0 ? 0 : -1) + step + count) % count }, true);
}
