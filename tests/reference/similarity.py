import numpy as np
from scipy.optimize import least_squares
P=[(0,0,0.02,0.02),(120.0,15.0,0.05,0.05),(80.0,-95.0,0.03,0.04),(-60.0,140.0,0.10,0.08),(33.0,61.0,0.05,0.02)]
th=np.radians(-37.3); R=np.random.default_rng(20260714)
loc=np.array([p[:2] for p in P]); sig=np.array([p[2:] for p in P])
kn=np.column_stack([531.2+loc[:,0]*np.cos(th)+loc[:,1]*np.sin(th), -204.7-loc[:,0]*np.sin(th)+loc[:,1]*np.cos(th)])
kn=np.round(kn+R.normal(size=kn.shape)*sig,3)
def model(p,k=1):
    return np.column_stack([p[0]+k*(loc[:,0]*np.cos(p[2])+loc[:,1]*np.sin(p[2])), p[1]+k*(-loc[:,0]*np.sin(p[2])+loc[:,1]*np.cos(p[2]))])
f=lambda p:((kn-model(p))/sig).ravel()
s=least_squares(f,[500,-200,-0.6],xtol=1e-15,ftol=1e-15,gtol=1e-15); C=np.linalg.inv(s.jac.T@s.jac)
g=lambda p:((kn-model(p,1+p[3]))/sig).ravel()
s4=least_squares(g,[500,-200,-0.6,0],xtol=1e-15,ftol=1e-15,gtol=1e-15); C4=np.linalg.inv(s4.jac.T@s4.jac)
import scipy
print(f"""# A turn and a shift in the plane by least squares: five invented points with unequal weights. Independent check by SciPy {scipy.__version__},
# least_squares (Levenberg-Marquardt trust region) on the same model, covariance (JᵀJ)⁻¹:
#   E = tE + e cos a + n sin a, N = tN − e sin a + n cos a; with a free scale E = tE + (1 + s)(e cos a + n sin a), likewise N.
# The command: python similarity.py, which stands beside this file.
# point,local east,local north,known east,known north,sigma east,sigma north (metres)""")
for l,k,sg in zip(loc,kn,sig): print('point,%g,%g,%.3f,%.3f,%g,%g'%(*l,*k,*sg))
for n,v in [('turn_rad',s.x[2]),('zero_east_m',s.x[0]),('zero_north_m',s.x[1]),('square',2*s.cost),('sigma_turn_rad',C[2,2]**.5),('sigma_zero_east_m',C[0,0]**.5),('scale',s4.x[3]),('sigma_scale',C4[3,3]**.5)]: print('%s,%.12g'%(n,v))
for i,r in enumerate((kn-model(s.x)).ravel()): print('residual_%d,%.9f'%(i,r))
