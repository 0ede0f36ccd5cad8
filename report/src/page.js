// The page's script: the interactive map in the place of the drawn one, and tables that sort and filter.
// Without it the page has the same contents. It asks for nothing from anywhere.
import { begin as beginMap } from './map.js';
import { begin as beginTables } from './tables.js';

const data = JSON.parse(document.getElementById('data').textContent);
document.documentElement.classList.add('scripted');
beginTables();
beginMap(data);
