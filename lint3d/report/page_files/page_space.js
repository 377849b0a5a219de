// How do packed meshes become things that three.js draws? Lengths in mm.
'use strict';

async function unpacked(text, Kind) {
  const bytes = Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream('gzip'));
  return new Kind(await new Response(stream).arrayBuffer());
}

// Columns of differences become rows of values; the element type wraps around where they need it.
function summed(differences, count, width, Kind) {
  const rows = new Kind(count * width);
  const one = new Kind(1);
  for (let column = 0; column < width; column += 1) {
    one[0] = 0;
    for (let row = 0; row < count; row += 1) {
      one[0] += differences[column * count + row];
      rows[row * width + column] = one[0];
    }
  }
  return rows;
}

async function pointsOf(packed) {
  const grid = summed(await unpacked(packed.data, Uint16Array), packed.count, 3, Uint16Array);
  const points = new Float32Array(grid.length);
  for (let i = 0; i < grid.length; i += 1) {
    points[i] = packed.origin[i % 3] + packed.step * grid[i];
  }
  return points;
}

// What every material shares: the section, the light, the size of a hatch.
const shared = {
  cutting: { value: 0 },
  cut: { value: new THREE.Vector4(0, 0, 1, 0) },
  ratio: { value: 1 },
  ink: { value: new THREE.Color() },
  paper: { value: new THREE.Color() },
};

const VERTEX = `
attribute float value;
varying vec3 place; varying vec3 seen; varying float thick;
void main() {
  vec4 here = modelMatrix * vec4(position, 1.0);
  vec4 before = viewMatrix * here;
  place = here.xyz; seen = before.xyz; thick = value;
  gl_Position = projectionMatrix * before;
}`;

const COMMON = `
uniform float cutting, ratio, opacity;
uniform vec4 cut;
uniform vec3 ink, paper, tint;
varying vec3 place; varying vec3 seen; varying float thick;
float light() {
  vec3 n = normalize(cross(dFdx(seen), dFdy(seen)));
  return 0.52 + 0.34 * max(dot(n, normalize(vec3(-0.4, 0.6, 0.7))), 0.0) + 0.22 * abs(n.z);
}
float stripe(vec2 way, float step, float wide) {
  return 1.0 - smoothstep(wide, wide + 1.0, mod(dot(gl_FragCoord.xy, way) / ratio, step));
}
void clip() { if (cutting > 0.5 && dot(place, cut.xyz) > cut.w) discard; }
`;

// The side of a face that looks into the material is seen only through a section (there it stands
// for the cut, hatched as in a drawing) or where the surface has a hole.
const BODY = `${COMMON}
uniform float overlay, limit, lean;
vec3 ramp(float v) {
  vec3 low = mix(vec3(0.45, 0.10, 0.02), vec3(0.90, 0.45, 0.16), clamp(v / max(limit, 0.001), 0.0, 1.0));
  low = mix(low, vec3(1.0), 0.35 * stripe(vec2(0.7071), 7.0, 2.0));
  vec3 high = mix(vec3(0.96, 0.93, 0.80), vec3(0.16, 0.40, 0.60), clamp((v - limit) / max(1.0 - limit, 0.001), 0.0, 1.0));
  vec3 found = v < limit ? low : high;
  float away = abs(v - limit) / max(fwidth(v), 0.00001);
  return mix(vec3(0.08, 0.11, 0.14), found, smoothstep(0.7, 1.5, away));
}
void main() {
  clip();
  vec3 colour = tint * light();
  if (overlay > 0.5 && thick < 0.998) colour = ramp(thick) * (0.25 + 0.75 * light());
#ifdef INSIDE
  float line = stripe(vec2(0.7071, lean * 0.7071), 7.0, 0.9);
  vec3 hatched = mix(mix(tint, paper, 0.55), ink, 0.55 * line);
  colour = cutting > 0.5 ? hatched : mix(tint, vec3(0.45, 0.38, 0.5), 0.6) * light();
#endif
  gl_FragColor = vec4(colour, opacity);
}`;

const MARKED = `${COMMON}
void main() {
  clip();
  vec3 colour = mix(mix(tint, vec3(1.0), 0.5), tint, stripe(vec2(0.7071), 9.0, 3.6));
  gl_FragColor = vec4(colour * (0.35 + 0.65 * light()), opacity);
}`;

const LINES = `${COMMON}
void main() { clip(); gl_FragColor = vec4(tint, opacity); }`;

function material(fragment, uniforms, options) {
  return new THREE.ShaderMaterial({
    uniforms: { ...shared, opacity: { value: 1 }, tint: { value: new THREE.Color() }, ...uniforms },
    vertexShader: VERTEX,
    fragmentShader: fragment,
    side: THREE.DoubleSide,
    extensions: { derivatives: true },
    ...options,
  });
}

// A stencil remembers where the cut is seen: what lies behind it is not drawn there.
const CUT = 1;
const OFF_CUT = { stencilWrite: true, stencilRef: CUT, stencilFunc: THREE.NotEqualStencilFunc };
const PUSHED = { polygonOffset: true, polygonOffsetFactor: 2, polygonOffsetUnits: 4 };

function stamp(mark) {
  return { stencilWrite: true, stencilRef: mark, stencilZPass: THREE.ReplaceStencilOp };
}

async function bodyFrom(packed, number) {
  const geometry = new THREE.BufferGeometry();
  geometry.setAttribute('position', new THREE.BufferAttribute(await pointsOf(packed.points), 3));
  const rows = await unpacked(packed.rows.data, Uint32Array);
  geometry.setIndex(new THREE.BufferAttribute(summed(rows, packed.rows.count, 3, Uint32Array), 1));
  if (packed.field) {
    const steps = await unpacked(packed.field.data, Uint8Array);
    geometry.setAttribute('value', new THREE.BufferAttribute(steps, 1, true));
  }
  const about = { overlay: { value: 0 }, limit: { value: 0 }, lean: { value: number % 2 ? -1 : 1 } };
  const look = material(BODY, about, { side: THREE.FrontSide, ...PUSHED, ...stamp(0) });
  const inside = material(BODY, {}, { side: THREE.BackSide, defines: { INSIDE: 1 }, ...PUSHED, ...stamp(CUT) });
  inside.uniforms = look.uniforms;
  const edges = new THREE.BufferGeometry();
  edges.setAttribute('position', new THREE.BufferAttribute(await pointsOf(packed.lines), 3));
  const pen = material(LINES, {}, { transparent: true, ...OFF_CUT });
  const group = new THREE.Group();
  group.add(new THREE.Mesh(geometry, look), new THREE.Mesh(geometry, inside), new THREE.LineSegments(edges, pen));
  return { group, look, inside, pen, field: packed.field, name: packed.name, low: packed.low, high: packed.high };
}

async function sceneFrom(packed) {
  const bodies = [];
  for (const [number, body] of packed.bodies.entries()) bodies.push(await bodyFrom(body, number));
  const root = new THREE.Scene();
  for (const body of bodies) root.add(body.group);
  const low = [0, 1, 2].map((axis) => Math.min(...bodies.map((body) => body.low[axis])));
  const high = [0, 1, 2].map((axis) => Math.max(...bodies.map((body) => body.high[axis])));
  return { root, bodies, low, high };
}

// The faces of a place: once where they are seen, once shining through what stands before them.
async function markedFaces(packed, colour) {
  const geometry = new THREE.BufferGeometry();
  geometry.setAttribute('position', new THREE.BufferAttribute(await pointsOf(packed), 3));
  const front = material(MARKED, {}, {
    polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 2, ...OFF_CUT,
  });
  const ghost = material(MARKED, {}, { transparent: true, depthTest: false, depthWrite: false });
  ghost.uniforms.opacity.value = 0.16;
  const group = new THREE.Group();
  for (const look of [front, ghost]) {
    look.uniforms.tint.value.set(colour);
    group.add(new THREE.Mesh(geometry, look));
  }
  group.children[0].renderOrder = 1;
  group.children[1].renderOrder = 3;
  group.userData.ghost = group.children[1];
  return group;
}

function dispose(group) {
  group.traverse((thing) => {
    if (thing.geometry) thing.geometry.dispose();
    if (thing.material) thing.material.dispose();
  });
}
