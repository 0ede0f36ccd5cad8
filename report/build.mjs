// Bundles the page's script into dist/page.js, with the licences of what is in it before it. `--check` compares instead of writing.
import { createRequire } from 'node:module';
import { readFileSync, readdirSync, writeFileSync, mkdirSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

const here = dirname(fileURLToPath(import.meta.url));
const { build } = createRequire(import.meta.url)('esbuild');

const made = await build({
  absWorkingDir: here,
  entryPoints: ['src/page.js'],
  bundle: true,
  minify: true,
  format: 'iife',
  target: 'es2020',
  charset: 'ascii',
  legalComments: 'none',
  metafile: true,
  write: false,
});

// The packages whose code is in the bundle, each with its licence.
const [output] = Object.values(made.metafile.outputs);
const used = new Set();
for (const [path, { bytesInOutput }] of Object.entries(output.inputs)) {
  const match = /^node_modules\/((?:@[^/]+\/)?[^/]+)\//.exec(path);
  if (match && bytesInOutput > 0) used.add(match[1]);
}
const licences = [...used].sort().map((name) => {
  const folder = join(here, 'node_modules', name);
  const { version, license } = JSON.parse(readFileSync(join(folder, 'package.json'), 'utf8'));
  const file = readdirSync(folder).filter((file) => /^licen[cs]e/i.test(file)).sort()[0];
  if (!file) throw new Error(`${name} has no licence file`);
  return `${name} ${version} (${license})\n\n${readFileSync(join(folder, file), 'utf8').trim()}\n`;
});
const notice = `${'Parts of this script are from these packages, under their licences:'}\n\n${licences.join('\n')}`;
if (notice.includes('*/') || notice.includes('</')) throw new Error('a licence cannot stand in a comment');
const files = {
  'page.js': `/*\n${notice}*/\n${made.outputFiles[0].text}`,
  'LICENCES.txt': notice,
};
// A script element ends at this.
if (/<\/script|<!--/i.test(files['page.js'])) throw new Error('the bundle would end its element');

mkdirSync(join(here, 'dist'), { recursive: true });
for (const [name, text] of Object.entries(files)) {
  const path = join(here, 'dist', name);
  if (!process.argv.includes('--check')) writeFileSync(path, text);
  else if (readFileSync(path, 'utf8') !== text) {
    console.error(`report/dist/${name} is not what report/src gives; run: make page-bundle`);
    process.exitCode = 1;
  }
}
