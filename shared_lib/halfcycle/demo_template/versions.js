// The renderer brings parts of JupyterLab that are somewhat older than those the widgets were built with, which serve them
// well; unless told so, the page logs a warning for each. So each part of the renderer counts as the newest of its major version.
(() => {
  const newest = (version) => `${version.split(".")[0]}.999.0`;
  const counted = (versions) => {
    const own = Object.entries(versions).filter(([, part]) => part.from.startsWith("_JUPYTERLAB.CORE"));
    for (const [version, part] of own) {
      delete versions[version]; // of two that are equal the one listed first is taken
      versions[newest(version)] = part;
      versions[version] = part;
    }
  };
  const wrapped = (extension) => ({
    get: extension.get,
    init: (parts) => {
      Object.values(parts).forEach(counted);
      return extension.init(parts);
    },
  });
  const set = (target, name, extension) => {
    target[name] = extension?.init ? wrapped(extension) : extension;
    return true;
  };
  window._JUPYTERLAB = new Proxy({}, { set });
})();
