// The 3-D view of a report: height fields out of the page itself, drawn with WebGL 2. No library, no network.
// What stands in the page is made by scene.py: the grids as text, the controls, and the words shown meanwhile.
"use strict";
(() => {
  const NONE = 65535; // height of a cell without wood
  const SHIFTS = 200; // parts of a cell
  const WIDE = 6; // numbers of a vertex of a solid
  const HOLDING = 0, WITHIN = 5, TARGET = 10, CUT_FACE = 11, INK = 12, RESIN = 13; // classes; 1 to 9 are those of the key

  // ---- from text to grids ----

  function bytesOf(text) {
    const plain = atob(text), bytes = new Uint8Array(plain.length);
    for (let i = 0; i < plain.length; i++) bytes[i] = plain.charCodeAt(i);
    return bytes;
  }

  // Inflates a zlib stream (RFC 1950, RFC 1951) of known size; throws when it is damaged.
  function inflated(bytes, size) {
    const out = new Uint8Array(size), LENGTH = [], DISTANCE = [];
    for (let i = 0, base = 3; i < 28; i++) {
      const extra = i < 8 ? 0 : (i >> 2) - 1;
      LENGTH.push([base, extra]);
      base += 1 << extra;
    }
    LENGTH.push([258, 0]);
    for (let i = 0, base = 1; i < 30; i++) {
      const extra = i < 4 ? 0 : (i >> 1) - 1;
      DISTANCE.push([base, extra]);
      base += 1 << extra;
    }
    let at = 2, held = 0, count = 0, end = 0;
    const damaged = () => new Error("the data in this file are damaged");
    function bits(n) {
      while (count < n) {
        if (at >= bytes.length) throw damaged();
        held |= bytes[at++] << count;
        count += 8;
      }
      const value = held & ((1 << n) - 1);
      held >>>= n;
      count -= n;
      return value;
    }
    function codes(lengths) {
      const counts = new Uint16Array(16), starts = new Uint16Array(16), symbols = new Uint16Array(lengths.length);
      for (const length of lengths) counts[length]++;
      counts[0] = 0;
      for (let i = 1; i < 16; i++) starts[i] = starts[i - 1] + counts[i - 1];
      lengths.forEach((length, symbol) => { if (length) symbols[starts[length]++] = symbol; });
      return { counts, symbols };
    }
    function symbol({ counts, symbols }) {
      let code = 0, first = 0, index = 0;
      for (let length = 1; length < 16; length++) {
        code |= bits(1);
        if (code - first < counts[length]) return symbols[index + code - first];
        index += counts[length];
        first = (first + counts[length]) << 1;
        code <<= 1;
      }
      throw damaged();
    }
    const fixed = [codes([...Array(288).keys()].map((i) => (i < 144 ? 8 : i < 256 ? 9 : i < 280 ? 7 : 8))),
                   codes(Array(30).fill(5))];
    function trees() {
      const literals = bits(5) + 257, distances = bits(5) + 1, few = bits(4) + 4, order = Array(19).fill(0);
      for (let i = 0; i < few; i++)
        order[[16, 17, 18, 0, 8, 7, 9, 6, 10, 5, 11, 4, 12, 3, 13, 2, 14, 1, 15][i]] = bits(3);
      const tree = codes(order), lengths = [];
      while (lengths.length < literals + distances) {
        const one = symbol(tree);
        if (one < 16) lengths.push(one);
        else {
          const value = one === 16 ? lengths[lengths.length - 1] : 0;
          const times = one === 16 ? 3 + bits(2) : one === 17 ? 3 + bits(3) : 11 + bits(7);
          for (let i = 0; i < times; i++) lengths.push(value);
        }
      }
      return [codes(lengths.slice(0, literals)), codes(lengths.slice(literals))];
    }
    for (let isLast = 0; !isLast;) {
      isLast = bits(1);
      const kind = bits(2);
      if (kind === 0) {
        held = count = 0;
        const length = bytes[at] | (bytes[at + 1] << 8);
        out.set(bytes.subarray(at + 4, at + 4 + length), end);
        at += 4 + length;
        end += length;
        continue;
      }
      if (kind === 3) throw damaged();
      const [literals, distances] = kind === 1 ? fixed : trees();
      for (let one = symbol(literals); one !== 256; one = symbol(literals)) {
        if (one < 256) {
          out[end++] = one;
          continue;
        }
        const [base, extra] = LENGTH[one - 257], length = base + bits(extra);
        const [far, more] = DISTANCE[symbol(distances)], back = far + bits(more);
        if (back > end || end + length > size) throw damaged();
        for (let i = 0; i < length; i++, end++) out[end] = out[end - back];
      }
    }
    at -= count >> 3; // whole bytes read ahead
    let a = 1, b = 0;
    for (const value of out) {
      a = (a + value) % 65521;
      b = (b + a) % 65521;
    }
    const sum = ((bytes[at] << 24) | (bytes[at + 1] << 16) | (bytes[at + 2] << 8) | bytes[at + 3]) >>> 0;
    if (end !== size || sum !== ((b << 16) | a) >>> 0) throw damaged();
    return out;
  }

  // Heights are differences along their rows, low bytes first, then high bytes; classes are plain bytes.
  function gridsOf(scene) {
    const cells = scene.nx * scene.ny, heights = scene.heights.length;
    const bytes = inflated(bytesOf(scene.data), cells * (2 * heights + scene.classes.length));
    const grids = {};
    scene.heights.forEach((name, k) => {
      const low = bytes.subarray(2 * k * cells, (2 * k + 1) * cells), high = bytes.subarray((2 * k + 1) * cells);
      const grid = new Uint16Array(cells);
      for (let i = 0; i < cells; i++)
        grid[i] = (low[i] | (high[i] << 8)) + (i % scene.nx ? grid[i - 1] : 0);
      grids[name] = grid;
    });
    scene.classes.forEach((name, k) => {
      grids[name] = bytes.subarray((2 * heights + k) * cells, (2 * heights + k + 1) * cells);
    });
    return grids;
  }

  // ---- from grids to triangles ----

  // Which way the walls at each cell look, x and y: to where the columns grow shorter, over some cells; 0 where
  // there is no wall. Of single columns a wall askew has teeth, and their shades would read as marks of a cutter.
  function leans(nx, ny, cell, tall) {
    const REACH = 3, lean = new Float32Array(2 * nx * ny);
    const at = (x, y) => tall[y * nx + x];
    for (let y = REACH; y < ny - REACH; y++) // the blank's own edges are straight
      for (let x = REACH; x < nx - REACH; x++) {
        const here = tall[y * nx + x];
        let step = 0;
        for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) step = Math.max(step, Math.abs(here - at(x + dx, y + dy)));
        if (step < 2 * cell) continue;
        let [a, b] = [0, 0];
        for (let dy = -REACH; dy <= REACH; dy++)
          for (let dx = -REACH; dx <= REACH; dx++) {
            const high = at(x + dx, y + dy);
            a -= dx * high;
            b -= dy * high;
          }
        const length = Math.hypot(a, b);
        if (length < 12 * step) continue; // a rib or a groove: both its walls would look one way
        lean[2 * (y * nx + x)] = a / length;
        lean[2 * (y * nx + x) + 1] = b / length;
      }
    return lean;
  }

  // A solid of columns: each vertex is x, y, z, class, and which way walls look there. pick(i) says whether a
  // cell is drawn.
  // classWall: of its walls, null where it has none, one number where all of it has one class.
  // shift: how far the middles of its cells move along x and y, as scene.py has it.
  function solid(scene, lower, upper, classLower, classUpper, classWall, pick, shift) {
    const { nx, ny, cell, step, low } = scene, cells = nx * ny;
    const isWood = new Uint8Array(cells);
    for (let i = 0; i < cells; i++) isWood[i] = upper[i] !== NONE && lower[i] !== NONE ? 1 : 0;
    const isFull = new Uint8Array(cells); // four cells that meet behind and right of cell i are all wood
    let squares = 0;
    for (let y = 0; y + 1 < ny; y++)
      for (let x = 0; x + 1 < nx; x++) {
        const i = y * nx + x;
        if (isWood[i] && isWood[i + 1] && isWood[i + nx] && isWood[i + nx + 1]) {
          isFull[i] = 1;
          squares++;
        }
      }
    const vertices = [], surfaces = [[upper, classUpper, true], [lower, classLower, false]];
    const tall = new Float32Array(cells);
    for (let i = 0; i < cells; i++) tall[i] = isWood[i] ? (upper[i] - lower[i]) * step : 0;
    const lean = leans(nx, ny, cell, tall);
    const moved = (axis, i) => (shift[axis][i] - 128) / SHIFTS; // cells
    // How much higher a moved column ends: the slope there, of neighbours without a wall between, goes on.
    const rise = (grid, i) => {
      let higher = 0;
      for (const [axis, next, at, size] of [[0, 1, i % nx, nx], [1, nx, Math.floor(i / nx), ny]]) {
        let sum = 0, count = 0;
        for (const [a, b, isThere] of [[i - next, i, at > 0], [i, i + next, at + 1 < size]]) {
          if (!isThere || !isWood[a] || !isWood[b] || Math.abs(grid[b] - grid[a]) * step > 2 * cell) continue;
          sum += grid[b] - grid[a];
          count++;
        }
        if (count) higher += moved(axis, i) * sum / count;
      }
      return higher;
    };
    const points = new Float32Array(cells * 2 * WIDE), indices = new Uint32Array(squares * 12);
    let used = 0;
    // A triangle has the colour of its last corner: of the one furthest beyond the limits, or a sliver one cell
    // wide would be lost.
    const off = new Float32Array(2 * cells);
    const put = (p, q, r) => {
      const last = off[r] >= off[p] && off[r] >= off[q] ? [p, q, r] : off[q] >= off[p] ? [r, p, q] : [q, r, p];
      for (let k = 0; k < 3; k++) indices[used++] = last[k];
    };
    surfaces.forEach(([grid, classes, isUp], k) => {
      for (let i = 0, p = k * cells * WIDE; i < cells; i++, p += WIDE) {
        const isMoved = shift[0][i] !== 128 || shift[1][i] !== 128;
        points[p] = scene.origin[0] + ((i % nx) + 0.5 + moved(0, i)) * cell;
        points[p + 1] = scene.origin[1] + (Math.floor(i / nx) + 0.5 + moved(1, i)) * cell;
        points[p + 2] = low + (grid[i] + (isMoved && isWood[i] ? rise(grid, i) : 0)) * step;
        const kind = (points[p + 3] = typeof classes === "number" ? classes : classes[i]);
        points[p + 4] = lean[2 * i];
        points[p + 5] = lean[2 * i + 1];
        if (kind > HOLDING && kind < TARGET) off[k * cells + i] = Math.abs(kind - WITHIN) + (kind < WITHIN ? 0.5 : 0);
      }
      for (let i = 0; i < cells; i++) {
        if (!isFull[i] || (pick && ![i, i + 1, i + nx, i + nx + 1].some((one) => pick(classes[one])))) continue;
        const a = k * cells + i, b = a + 1, c = a + nx, d = c + 1;
        if (isUp) put(a, b, d), put(c, a, d);
        else put(b, a, d), put(a, c, d);
      }
    });
    if (classWall !== null) {
      const wall = (i, j) => {
        for (const [a, k] of [[i, 1], [j, 1], [j, 0], [i, 1], [j, 0], [i, 0]]) { // k: of which surface, as above
          const kind = typeof classWall === "number" ? classWall : classWall[a], p = (k * cells + a) * WIDE;
          vertices.push(points[p], points[p + 1], points[p + 2], kind, lean[2 * a], lean[2 * a + 1]);
        }
      };
      const isShown = (i, j) => !pick || pick(classWall[i]) || pick(classWall[j]);
      for (let y = 0; y < ny; y++)
        for (let x = 0; x < nx; x++) {
          const i = y * nx + x;
          if (x + 1 < nx && isFull[i] !== (y ? isFull[i - nx] : 0) && isShown(i, i + 1)) wall(i, i + 1);
          if (y + 1 < ny && isFull[i] !== (x ? isFull[i - 1] : 0) && isShown(i, i + nx)) wall(i, i + nx);
        }
    }
    return { points, indices: indices.subarray(0, used), walls: new Float32Array(vertices) };
  }

  // The face of a section across axis 0 (x) or 1 (y) at `place`, or the outline of it, of one solid.
  function face(scene, lower, upper, axis, place, kind, isLine) {
    const { nx, ny, cell, step, low, origin } = scene, points = [];
    const across = (place - origin[axis]) / cell - 0.5, size = axis ? ny : nx, other = axis ? nx : ny;
    const first = Math.floor(across), share = across - first;
    if (first < 0 || first + 1 >= size) return new Float32Array(0);
    const at = (k) => {
      const i = axis ? first * nx + k : k * nx + first, j = axis ? i + nx : i + 1;
      if ([lower[i], upper[i], lower[j], upper[j]].includes(NONE)) return null;
      const z = (grid) => low + step * (grid[i] * (1 - share) + grid[j] * share);
      const along = origin[1 - axis] + (k + 0.5) * cell;
      const point = (height) => (axis ? [along, place, height, kind] : [place, along, height, kind]);
      return [point(z(lower)), point(z(upper))];
    };
    for (let k = 0, before = null; k < other; k++) {
      const now = at(k);
      if (before && now) {
        const [a, b] = before, [c, d] = now;
        points.push(...(isLine ? [a, c, b, d] : [a, c, d, a, d, b]));
      }
      before = now;
    }
    return new Float32Array(points.flat());
  }

  // ---- drawing ----

  const VERTEX = `#version 300 es
    in vec3 place; in float kind; in vec2 lean; uniform mat4 view;
    out vec3 model; out vec3 eye; out vec2 looks; flat out float shown;
    void main() { model = place; shown = kind; looks = lean; gl_Position = view * vec4(place, 1.0); eye = gl_Position.xyz; }`;
  const FRAGMENT = `#version 300 es
    precision highp float;
    in vec3 model; in vec3 eye; in vec2 looks; flat in float shown; out vec4 colour;
    uniform mat4 view; uniform vec3 palette[14]; uniform vec4 plane; uniform vec3 stretch; uniform float dot_size;
    void main() {
      if (dot(plane.xyz, model) > plane.w) discard;
      int kind = int(shown + 0.5);
      vec3 base = palette[kind];
      vec2 at = gl_FragCoord.xy / dot_size;
      bool is_line = mod(at.x - at.y, 8.0) < 2.2; // up to the right, as on the maps
      if (kind > 0 && kind < 5 && is_line) base = palette[kind < 3 ? 3 : 5 - kind]; // as colours.STRIPES has it
      if (kind == 13) base *= mod(at.x, 6.0) < 1.8 && mod(at.y, 6.0) < 1.8 ? 0.5 : 1.0;
      if (kind == 12) { colour = vec4(base, 1.0); return; }
      if (kind == 11) { colour = vec4(base * (mod(at.x - at.y, 10.0) < 1.6 ? 0.72 : 1.0), 1.0); return; }
      vec3 real = eye * stretch;
      vec3 normal = normalize(cross(dFdx(real), dFdy(real)));
      vec3 level = (mat3(view) * vec3(0.0, 0.0, 1.0)) * stretch;
      if (abs(dot(normal, level)) < 0.35 && length(looks) > 0.3) normal = normalize((mat3(view) * vec3(looks, 0.0)) * stretch);
      if (normal.z < 0.0) normal = -normal;
      float light = 0.42 + 0.5 * max(dot(normal, normalize(vec3(-0.5, 0.6, 0.7))), 0.0) + 0.12 * normal.z;
      if (kind > 0 && kind < 10 && kind != 5) light = 0.74 + 0.26 * light; // in shade it must not look like the next class
      colour = vec4(base * min(light, 1.08), 1.0);
    }`;

  function programOf(gl) {
    const program = gl.createProgram();
    for (const [kind, source] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, source);
      gl.compileShader(shader);
      if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(shader));
      gl.attachShader(program, shader);
    }
    gl.bindAttribLocation(program, 0, "place");
    gl.bindAttribLocation(program, 1, "kind");
    gl.bindAttribLocation(program, 2, "lean");
    gl.linkProgram(program);
    if (!gl.getProgramParameter(program, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(program));
    gl.useProgram(program);
    return program;
  }

  function start(root, scene) {
    const canvas = root.querySelector("canvas"), gl = canvas.getContext("webgl2", { antialias: true });
    if (!gl) throw new Error("this browser has no WebGL 2");
    const grids = gridsOf(scene), program = programOf(gl);
    const uniform = (name) => gl.getUniformLocation(program, name);
    const at = Object.fromEntries(["view", "palette", "plane", "stretch", "dot_size"].map((n) => [n, uniform(n)]));
    gl.uniform3fv(at.palette, new Float32Array(scene.palette.flat().map((value) => value / 255)));
    gl.enable(gl.DEPTH_TEST);

    function buffered(points, indices, wide = 4) { // wide: numbers of a vertex
      const array = gl.createVertexArray();
      gl.bindVertexArray(array);
      gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
      gl.bufferData(gl.ARRAY_BUFFER, points, gl.STATIC_DRAW);
      gl.enableVertexAttribArray(0);
      gl.vertexAttribPointer(0, 3, gl.FLOAT, false, 4 * wide, 0);
      gl.enableVertexAttribArray(1);
      gl.vertexAttribPointer(1, 1, gl.FLOAT, false, 4 * wide, 12);
      if (wide === WIDE) {
        gl.enableVertexAttribArray(2);
        gl.vertexAttribPointer(2, 2, gl.FLOAT, false, 4 * wide, 16);
      }
      if (indices) {
        gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, gl.createBuffer());
        gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, indices, gl.STATIC_DRAW);
      }
      gl.bindVertexArray(null);
      return { array, count: indices ? indices.length : points.length / wide, isIndexed: !!indices };
    }
    const bare = (classes) => classes.map((one) => (one === RESIN ? WITHIN : one)); // of the wood under resin
    const wood = (heights) => heights.map((z, i) => (grids.wood_upper[i] > grids.wood_lower[i] ? z : NONE)); // none in resin alone
    const parts = {}; // made when first shown
    function part(name) {
      if (parts[name]) return parts[name];
      const g = grids;
      const made = {
        cut: () => solid(scene, g.lower, g.upper, g.class_lower, g.class_upper, g.class_wall, null, [g.shift_x, g.shift_y]),
        target: () => solid(scene, g.target_lower, g.target_upper, TARGET, TARGET, TARGET, null, [g.target_shift_x, g.target_shift_y]),
        bare: () => solid(scene, wood(g.wood_lower), wood(g.wood_upper), bare(g.class_lower), bare(g.class_upper), g.class_wall, null, [g.shift_x, g.shift_y]),
        left: () => solid(scene, g.lower, g.upper, g.class_lower, g.class_upper, g.class_wall, (one) => one > WITHIN && one !== RESIN, [g.shift_x, g.shift_y]),
      }[name]();
      parts[name] = [buffered(made.points, made.indices, WIDE), buffered(made.walls, null, WIDE)];
      return parts[name];
    }

    const corner = scene.starts_on === 2 ? [-0.2, -1.15] : [-0.35, 0.85]; // the side of the first finding; lit from above
    const state = { subject: "cut", isBare: false, axis: -1, place: 0, turn: corner[0], tilt: corner[1], zoom: 1, x: 0, y: 0 };
    const size = [scene.nx * scene.cell, scene.ny * scene.cell, scene.high - scene.low];
    const middle = [scene.origin[0] + size[0] / 2, scene.origin[1] + size[1] / 2, (scene.low + scene.high) / 2];
    const radius = Math.hypot(...size) / 2;
    let faces = [];

    function cutFaces() {
      faces.forEach(({ array }) => gl.deleteVertexArray(array));
      faces = [];
      if (state.axis < 0) return;
      const g = grids, isCut = state.subject === "cut";
      const [lower, upper] = isCut ? [g.lower, g.upper] : [g.target_lower, g.target_upper];
      const shown = (from, to, kind) =>
        faces.push(buffered(face(scene, from, to, state.axis, state.place, kind, false)));
      if (isCut && g.wood_upper) {
        shown(g.wood_lower, g.wood_upper, CUT_FACE);
        if (!state.isBare) {
          shown(g.wood_upper, upper, RESIN);
          shown(lower, g.wood_lower, RESIN);
        }
      } else shown(lower, upper, CUT_FACE);
      if (isCut && g.target_lower) {
        const line = buffered(face(scene, g.target_lower, g.target_upper, state.axis, state.place, INK, true));
        faces.push({ ...line, isLine: true });
      }
    }

    function rows() { // the directions right, up and towards the eye, in the blank frame
      const [c, s, ct, st] = [Math.cos(state.turn), Math.sin(state.turn), Math.cos(state.tilt), Math.sin(state.tilt)];
      return [[c, s, 0], [-s * st, c * st, ct], [s * ct, -c * ct, st]];
    }
    function spans() { // half of what is seen, mm, across and up
      const [right, up] = rows(), wide = canvas.clientWidth || 1, tall = canvas.clientHeight || 1;
      const reach = (axis) => axis.reduce((sum, value, k) => sum + (Math.abs(value) * size[k]) / 2, 0);
      const half = Math.max(reach(right), reach(up) * (wide / tall)) * 1.08 / state.zoom;
      return [half, half * (tall / wide)];
    }
    function seen(point) { // pixels of the canvas
      const [right, up] = rows(), [across, high] = spans();
      const along = (axis) => axis.reduce((sum, value, k) => sum + value * (point[k] - middle[k]), 0);
      return [((along(right) + state.x) / across + 1) / 2 * canvas.clientWidth,
              (1 - (along(up) + state.y) / high) / 2 * canvas.clientHeight];
    }

    const densely = () => Math.min(window.devicePixelRatio || 1, 2);
    const sizeOf = (dense) => [Math.round(canvas.clientWidth * dense), Math.round(canvas.clientHeight * dense)];
    function draw() {
      isAsked = false;
      const dense = densely(), [wide, tall] = sizeOf(dense);
      if (canvas.width !== wide || canvas.height !== tall) [canvas.width, canvas.height] = [wide, tall];
      const [right, up, out] = rows(), [across, high] = spans(), deep = radius * 1.2;
      const off = (axis, more, span) => (more - axis.reduce((sum, value, k) => sum + value * middle[k], 0)) / span;
      const matrix = [];
      for (let k = 0; k < 3; k++) matrix.push(right[k] / across, up[k] / high, -out[k] / deep, 0);
      matrix.push(off(right, state.x, across), off(up, state.y, high), -off(out, 0, deep), 1);
      gl.viewport(0, 0, wide, tall);
      gl.clearColor(0, 0, 0, 0);
      gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
      gl.uniformMatrix4fv(at.view, false, new Float32Array(matrix));
      gl.uniform3f(at.stretch, across, high, -deep);
      gl.uniform1f(at.dot_size, dense);
      const slack = 1e-3; // the faces of the section lie on the plane itself
      const way = state.axis >= 0 && out[state.axis] < 0 ? -1 : 1; // the half nearer to the eye is taken away
      if (state.axis < 0) gl.uniform4f(at.plane, 0, 0, 0, 1);
      else gl.uniform4f(at.plane, way * (1 - state.axis), way * state.axis, 0, way * state.place + slack);
      const shown = state.subject === "left" ? [...part("target"), ...part("left")]
        : part(state.subject === "cut" && state.isBare ? "bare" : state.subject);
      for (const { array, count, isIndexed, isLine } of [...shown, ...faces]) {
        if (!count) continue;
        gl.bindVertexArray(array);
        if (isLine) gl.disable(gl.DEPTH_TEST);
        if (isIndexed) gl.drawElements(gl.TRIANGLES, count, gl.UNSIGNED_INT, 0);
        else gl.drawArrays(isLine ? gl.LINES : gl.TRIANGLES, 0, count);
        gl.enable(gl.DEPTH_TEST);
      }
      const inSight = [];
      for (const label of root.querySelectorAll("[data-at]")) {
        const place = label.dataset.at.split(" ").map(Number), [x, y] = seen(place);
        const isIn = x > 0 && y > 0 && x < canvas.clientWidth && y < canvas.clientHeight;
        const isCutOff = state.axis >= 0 && label.dataset.side !== undefined
          && way * (place[state.axis] - state.place) > 1;
        label.hidden = !isIn || isCutOff;
        const isBehind = !!{ 1: out[2] < -0.05, 2: out[2] > 0.05 }[label.dataset.side];
        label.classList.toggle("behind", isBehind);
        const rank = label.classList.contains("chosen") ? 0 : label.dataset.side === undefined ? 3 : isBehind ? 2 : 1;
        if (!label.hidden) inSight.push({ label, x, y, rank });
      }
      apart(inSight);
    }

    // Puts the labels to their places, those that would lie on another as near to theirs as there is room,
    // with a line to it.  The chosen number stays where it is; in front comes before behind, numbers before words;
    // a number behind that has no room is left out until the part is turned.
    const RINGS = 8, WAYS = 16, GAP = 2; // GAP: pixels between two labels
    function apart(labels) {
      for (const one of labels) [one.wide, one.high] = [one.label.offsetWidth, one.label.offsetHeight];
      labels.sort((a, b) => a.rank - b.rank); // a stable sort: by number within a rank
      const taken = [];
      const isFree = (x, y, one) => taken.every((other) => Math.abs(x - other.x) >= (one.wide + other.wide) / 2 + GAP
        || Math.abs(y - other.y) >= (one.high + other.high) / 2 + GAP);
      const isWhole = (x, y, one) => x >= one.wide / 2 && x <= canvas.clientWidth - one.wide / 2
        && y >= one.high / 2 && y <= canvas.clientHeight - one.high / 2;
      for (const [i, one] of labels.entries()) {
        let [x, y] = [one.x, one.y];
        const stays = one.rank === 0 || (isFree(x, y, one) && isWhole(x, y, one));
        if (!stays && one.rank === 2) {
          one.label.hidden = true;
          continue;
        }
        search: for (let ring = 1; !stays && ring <= RINGS; ring++) {
          for (let k = 0; k < WAYS; k++) {
            const angle = (2 * Math.PI * k) / WAYS, far = ring * one.high * 0.75;
            const [right, down] = [one.x + far * Math.cos(angle), one.y + far * Math.sin(angle)];
            if (!isWhole(right, down, one) || !isFree(right, down, one)) continue;
            [x, y] = [right, down];
            break search;
          }
        }
        taken.push({ x, y, wide: one.wide, high: one.high });
        one.label.style.zIndex = labels.length - i; // over the lines of those that gave way to it
        one.label.style.left = `${x}px`;
        one.label.style.top = `${y}px`;
        one.label.style.setProperty("--away", `${Math.hypot(one.x - x, one.y - y)}px`);
        one.label.style.setProperty("--turn", `${Math.atan2(one.y - y, one.x - x)}rad`);
      }
    }
    // Without a graphics card a drawing takes a second: none is made that shows what is shown already.
    let isAsked = false, isWaiting = false;
    function again() {
      isAsked = true;
      if (isWaiting) return;
      isWaiting = true;
      requestAnimationFrame(() => {
        isWaiting = false;
        if (isAsked) draw();
      });
    }

    // ---- hand and keys ----

    const limit = (value, low, high) => Math.min(Math.max(value, low), high);
    function turn(dx, dy) {
      state.turn -= dx * 0.008;
      state.tilt = limit(state.tilt + dy * 0.008, -Math.PI / 2, Math.PI / 2);
    }
    function move(dx, dy) {
      const [across] = spans(), pixel = (2 * across) / canvas.clientWidth;
      state.x = limit(state.x + dx * pixel, -radius, radius);
      state.y = limit(state.y - dy * pixel, -radius, radius);
    }
    const zoom = (factor) => { state.zoom = limit(state.zoom * factor, 0.5, 40); };
    const fingers = new Map();
    canvas.addEventListener("pointerdown", (event) => {
      canvas.setPointerCapture(event.pointerId);
      fingers.set(event.pointerId, [event.clientX, event.clientY]);
    });
    const lift = (event) => fingers.delete(event.pointerId);
    canvas.addEventListener("pointerup", lift);
    canvas.addEventListener("pointercancel", lift);
    canvas.addEventListener("pointermove", (event) => {
      const before = fingers.get(event.pointerId);
      if (!before) return;
      const now = [event.clientX, event.clientY], dx = now[0] - before[0], dy = now[1] - before[1];
      if (fingers.size === 1) (event.shiftKey || event.buttons === 4 ? move : turn)(dx, dy);
      else {
        const [, other] = [...fingers].find(([id]) => id !== event.pointerId);
        const apart = (point) => Math.hypot(point[0] - other[0], point[1] - other[1]) || 1;
        zoom(apart(now) / apart(before));
        move(dx / 2, dy / 2);
      }
      fingers.set(event.pointerId, now);
      again();
    });
    canvas.addEventListener("wheel", (event) => {
      if (document.activeElement !== canvas) return; // the page goes on scrolling until the view is chosen
      event.preventDefault();
      zoom(Math.exp(-event.deltaY * 0.0015));
      again();
    }, { passive: false });
    canvas.addEventListener("keydown", (event) => {
      const ways = { ArrowLeft: [-12, 0], ArrowRight: [12, 0], ArrowUp: [0, -12], ArrowDown: [0, 12] };
      if (ways[event.key]) (event.shiftKey ? move : turn)(...ways[event.key]);
      else if (event.key === "+" || event.key === "-") zoom(event.key === "+" ? 1.2 : 1 / 1.2);
      else return;
      event.preventDefault();
      again();
    });

    const slider = root.querySelector("[name=place]"), said = root.querySelector("output");
    function takeSection() {
      state.axis = Number(root.querySelector("[name=section]:checked").value);
      slider.disabled = state.axis < 0;
      const axis = Math.max(state.axis, 0), share = Number(slider.value) / 1000;
      state.place = scene.origin[axis] + size[axis] * share;
      const inches = scene.is_inch ? `${(state.place / 25.4).toFixed(3)} in` : `${state.place.toFixed(1)} mm`;
      said.textContent = state.axis < 0 ? "" : `${inches} from the ${["left end", "front edge"][axis]} of side 1`;
      cutFaces();
      again();
    }
    root.addEventListener("input", (event) => {
      if (event.target.name === "subject") state.subject = event.target.value;
      if (event.target.name === "resin") state.isBare = !event.target.checked;
      if (event.target.name === "finding" && event.target.value) choose(event.target.value);
      takeSection();
    });
    root.addEventListener("click", (event) => {
      const act = event.target.dataset.act;
      if (!act) return;
      const views = { above: [0, Math.PI / 2], below: [0, -Math.PI / 2], front: [0, 0], corner };
      if (views[act]) {
        [state.turn, state.tilt] = views[act];
        Object.assign(state, { zoom: 1, x: 0, y: 0 });
      } else zoom(act === "nearer" ? 1.35 : 1 / 1.35);
      again();
    });
    canvas.addEventListener("webglcontextlost", () => say(root, "the graphics of this device gave up; open the page again"));
    new ResizeObserver(() => {
      const [wide, tall] = sizeOf(densely());
      if (canvas.width !== wide || canvas.height !== tall) again();
    }).observe(canvas);

    root.classList.add("is-drawn");
    takeSection();
    draw();
    const pixels = new Uint8Array(canvas.width * canvas.height * 4);
    gl.readPixels(0, 0, canvas.width, canvas.height, gl.RGBA, gl.UNSIGNED_BYTE, pixels);
    let covered = 0;
    for (let i = 3; i < pixels.length; i += 4) covered += pixels[i] > 0;
    if (gl.getError() || !covered) throw new Error("the graphics of this device drew nothing");
    root.dataset.covered = (covered / (canvas.width * canvas.height)).toFixed(3);

    // Turns to a place (x, y, z) of the blank frame, seen from the side (1, 2) it lies on, and comes near.
    function turnTo(place, side) {
      [state.turn, state.tilt] = [-0.2, side === 2 ? -1.05 : 1.05];
      const [right, up] = rows();
      const along = (axis) => axis.reduce((sum, value, k) => sum + value * (place[k] - middle[k]), 0);
      Object.assign(state, { zoom: 3, x: -along(right), y: -along(up) });
      again();
    }
    // Turns to a finding by its number; findings that have no place of their own leave the view as it is.
    function choose(number) {
      const label = root.querySelector(`.spot[data-number="${Number(number)}"]`), select = root.querySelector("[name=finding]");
      if (!label) return;
      for (const one of root.querySelectorAll(".spot")) one.classList.toggle("chosen", one === label);
      if (select) select.value = String(number);
      turnTo(label.dataset.at.split(" ").map(Number), Number(label.dataset.side));
    }
    document.addEventListener("click", (event) => {
      const link = root.isConnected && event.target.closest("[data-turn]");
      if (link) choose(link.dataset.turn);
    });
    return { turnTo };
  }

  function say(root, words) {
    root.classList.remove("is-drawn");
    root.querySelector(".instead").textContent =
      `No 3-D view: ${words}. Everything else in this report stands without it.`;
  }

  // Draws the view that stands in the page; returns what turns it, null where there is nothing to turn.
  function open() {
    const root = document.getElementById("solid");
    if (!root) return null;
    try {
      return start(root, JSON.parse(document.getElementById("solid-data").textContent));
    } catch (reason) {
      say(root, reason.message);
      return null;
    }
  }
  window.drawSolid = open; // for a page that puts the view in later
  open();
})();
