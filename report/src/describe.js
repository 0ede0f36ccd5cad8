// What the panel says of a chosen thing. Names are put in as text, never as markup.
import { byInterval, fixed, plusMinus, twoDigits } from './numbers.js';

const KINDS = { ellipsoidal: 'above the ellipsoid', orthometric: 'above the geoid or vertical datum' };

function element(tag, ...children) {
  const made = document.createElement(tag);
  made.append(...children);
  return made;
}

function title(name, kind) {
  const heading = element('h3', element('bdi', name || '(no name)'));
  if (kind) heading.append(element('span', ` ${kind}`));
  return heading;
}

function list(rows) {
  const made = element('dl');
  for (const [term, text] of rows) {
    if (text) made.append(element('dt', term), element('dd', element('bdi', text)));
  }
  return made;
}

// Lengths, areas and angles in the units of the crew: what a metre or a degree is of them, and their sign.
const inUnit = ({ by, sign }) => ({
  by,
  sign,
  two: (value) => twoDigits(value * by),
  sure: (value, half) => plusMinus(value * by, half * by),
  said: (value) => `${fixed(value * by, 2)}${sign === '°' ? '' : ' '}${sign}`,
});

// Shares in whole percent that make a hundred: the largest remainders are rounded up.
function inPercent(shares) {
  const whole = shares.map((share) => Math.floor(share * 100));
  const rest = shares.map((share, k) => [share * 100 - whole[k], k]).sort((a, b) => b[0] - a[0]);
  const missing = 100 - whole.reduce((sum, part) => sum + part, 0);
  rest.slice(0, Math.max(0, missing)).forEach(([, k]) => {
    whole[k] += 1;
  });
  return whole;
}

export function describeFeature(data, { index: i }) {
  const angle = inUnit(data.units.angle);
  const f = data.features;
  const length = inUnit(data.units.length);
  const { origin, unit_m: unit, degrees } = data.plane;
  const value = (column) => (f[column] ? f[column][i] : null);
  const word = (column) => f.words[f[column][i]];
  const [east, north] = [f.x[i] / unit[0] + origin[0], f.y[i] / unit[1] + origin[1]];
  const radius = value('radius95');
  const place = degrees
    ? `${fixed(north, 7)}° N, ${fixed(east, 7)}° E`
    : radius === null
      ? `E ${fixed(east, value('cell') === null ? 2 : 0)}, N ${fixed(north, value('cell') === null ? 2 : 0)}`
      : `E ${byInterval(east, radius)}, N ${byInterval(north, radius)}`;
  const rows = [['place', place]];
  if (value('cell') !== null) rows.push(['', `the middle of a cell of ${fixed(value('cell'), 0)} m; the exact place is withheld`]);
  if (value('height') !== null) {
    rows.push(['height', `${length.sure(value('height'), value('height95'))} ${length.sign} ${KINDS[word('kind')] ?? ''}`]);
  }
  if (radius !== null) {
    rows.push(['within', `${length.two(radius)} ${length.sign} at 95 %; standard error east ${length.two(value('sigma_east'))} ${length.sign}, north ${length.two(value('sigma_north'))} ${length.sign}`]);
    rows.push(['ellipse', `${length.two(value('major'))} × ${length.two(value('minor'))} ${length.sign} (95 %, semi-axes)`]);
  }
  const shares = [['base', value('share_base')], ['direction', value('share_direction')], ['distance', value('share_distance')]];
  if (shares[0][1] !== null) {
    shares.sort((a, b) => b[1] - a[1]);
    const [[first], ...others] = shares;
    const percent = inPercent(shares.map(([, share]) => share));
    rows.push(['dominated by', `${first} ${percent[0]} % of the variance of its place; ${others.map(([name], k) => `${name} ${percent[k + 1]} %`).join(', ')}`]);
  }
  const shot = [`base ${word('base')}`];
  if (value('distance') !== null) shot.push(`${fixed(value('distance') * length.by, 2)} ${length.sign}`);
  if (value('azimuth') !== null) shot.push(`azimuth ${angle.said(value('azimuth'))} from true north`);
  rows.push(['from', shot.join(', ')]);
  const aside = f.aside[i] ? `, ${f.aside[i]} left out by a test` : '';
  rows.push(['shots', `${f.used[i]}${aside}`]);
  rows.push(['source', `${word('file')}:${f.line[i]}`], ['time', f.time[i]]);
  const parts = [title(f.name[i], word('code')), list(rows)];
  const flags = word('flags').split(' ').filter(Boolean);
  if (flags.length) {
    parts.push(element('ul', ...flags.map((flag) => element('li', data.flags[flag] ?? flag))));
    parts.at(-1).className = 'warned';
  }
  return parts;
}

export function describeBase(data, { index }) {
  const base = data.bases[index];
  const length = inUnit(data.units.length);
  return [
    title(base.name, 'base'),
    list([
      ['good to', base.sigma === null ? '' : `standard error ${length.two(base.sigma)} ${length.sign} on each horizontal axis`],
      ['shots', `${base.shots} mapped from it`],
      ['source', base.place ?? 'placed by the network'],
    ]),
  ];
}

export function describeOutline(data, { kind, index }) {
  const line = data[kind === 'area' ? 'areas' : 'lines'][index];
  const [length, area] = [inUnit(data.units.length), inUnit(data.units.area)];
  const rows = [['of', line.origin], ['code', line.code]];
  if (line.area !== null) rows.push(['area', `${area.sure(line.area, line.area95)} ${area.sign}`]);
  if (line.length !== null) rows.push([kind === 'area' ? 'perimeter' : 'length', `${length.sure(line.length, line.length95)} ${length.sign}`]);
  return [title(line.name, kind), list(rows)];
}
