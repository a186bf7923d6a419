"""Pure kernels on floats and arrays, one physical topic a module; they know no plan, no file and no other kernel."""
