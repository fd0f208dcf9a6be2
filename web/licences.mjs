// Collects the notices of the libraries that end up in the binary, for the
// licences page: the chart library's, and those of the Go modules when the Go
// tool and their sources are at hand. They go to dist/licences, one file each.
import { execFileSync } from "node:child_process";
import { copyFileSync, existsSync, mkdirSync, readFileSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

const here = dirname(fileURLToPath(import.meta.url));
const out = join(here, "dist", "licences");
rmSync(out, { recursive: true, force: true });
mkdirSync(out, { recursive: true });
const file = (name) => join(out, name.replaceAll("/", "__") + ".txt");

const chart = JSON.parse(readFileSync(join(here, "node_modules/uplot/package.json"), "utf8"));
copyFileSync(join(here, "node_modules/uplot/LICENSE"), file("uPlot " + chart.version));

try {
  const list = execFileSync("go", ["list", "-deps", "-f", "{{with .Module}}{{if not .Main}}{{.Path}}\t{{.Version}}\t{{.Dir}}{{end}}{{end}}", "./cmd/thudbook"], {
    cwd: dirname(here), encoding: "utf8", stdio: ["ignore", "pipe", "ignore"],
  });
  for (const line of new Set(list.split("\n").filter(Boolean))) {
    const [path, version, dir] = line.split("\t");
    if (!dir || !existsSync(dir)) throw new Error("the sources of " + path + " are not here; run go mod download");
    // Some keep the texts of their licences in a folder of that name.
    const notices = readdirSync(dir, { withFileTypes: true }).filter((n) => /^(licen[cs]e|copying|notice)/i.test(n.name))
      .flatMap((n) => (n.isDirectory() ? readdirSync(join(dir, n.name)).map((m) => join(n.name, m)) : [n.name])).sort();
    if (!notices.length) throw new Error(path + " has no licence file");
    writeFileSync(file(path + " " + version), notices.map((n) => readFileSync(join(dir, n), "utf8")).join("\n\n"));
  }
  const [root, go] = execFileSync("go", ["env", "GOROOT", "GOVERSION"], { encoding: "utf8" }).trim().split("\n");
  copyFileSync(join(root, "LICENSE"), file("Go standard library " + go));
} catch (e) {
  console.error("licences: the notices of the Go modules could not be collected: " + e.message);
  process.exit(1);
}
