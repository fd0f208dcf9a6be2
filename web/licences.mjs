// Collects the notices of the libraries that end up in the binary, for the
// licences page: the chart library's, and those of the Go modules when the Go
// tool and their sources are at hand. They go to dist/licences, one file each.
import { execFileSync } from "node:child_process";
import { copyFileSync, existsSync, mkdirSync, readFileSync, readdirSync, rmSync } from "node:fs";
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
    if (!dir || !existsSync(dir)) continue;
    const notice = readdirSync(dir).find((n) => /^(licen[cs]e|copying)/i.test(n));
    if (notice) copyFileSync(join(dir, notice), file(path + " " + version));
  }
  const [root, go] = execFileSync("go", ["env", "GOROOT", "GOVERSION"], { encoding: "utf8" }).trim().split("\n");
  if (existsSync(join(root, "LICENSE"))) copyFileSync(join(root, "LICENSE"), file("Go standard library " + go));
} catch {
  console.warn("licences: the Go tool could not list the modules; only the chart library's notice was collected");
}
